"""Run in the service's environment: gives a fleet's manager a mail route beside the webhook."""

from __future__ import annotations

import sys

import django


def main(slug: str) -> None:
    django.setup()
    from alarms.notices.routes import create_route
    from fleet.clock import db_now
    from fleet.models import Fleet, Member, Role

    fleet = Fleet.objects.get(slug=slug)
    manager = Member.objects.get(fleet=fleet, role=Role.MANAGER)
    wanted = {"member": manager.username, "channel": "email", "address": f"gate@{slug}.example"}
    create_route(fleet, wanted | {"kinds": ["alarm", "hold"]}, by=manager, now=db_now())


if __name__ == "__main__":
    main(sys.argv[1])
