"""Run in the service's environment: makes fleets with units, trips and routes, and says their tokens.

One JSON object a line on the standard input is one wish, one line of JSON the answer; the process stays, because its
start costs more than all the fleets of a fault.

Each fleet has a person of its own to be told: more than ten messages an hour to one person become a summary, and then
there would be less to count.
"""

from __future__ import annotations

import json
import sys
from datetime import timedelta
from typing import Any

import django

SOONER = timedelta(hours=4.1)
"""Trips of the factories leave in six hours; these within two, so that a notice of them goes out at once."""


def unit_number(slug: str, i: int) -> str:
    return f"HB-{slug}-{i:02d}"


def found_one(slug: str, *, units: int, hook: str | None, mail: bool) -> dict[str, Any]:
    import orjson

    from fleet.clock import db_now
    from fleet.ingest.parse import split_batch
    from fleet.ingest.service import ingest
    from fleet.models import Role, Unit, UnitState
    from tests import factories

    now = db_now().replace(microsecond=0)
    fleet = factories.make_fleet(slug, f"Lines of {slug}")
    model = factories.make_model(fleet)
    made = Unit.objects.bulk_create([Unit(fleet=fleet, number=unit_number(slug, i), model=model) for i in range(units)])
    UnitState.objects.bulk_create([UnitState(fleet=fleet, unit=unit) for unit in made])
    manager = factories.make_member(fleet, Role.MANAGER)
    if hook:
        _route(fleet, manager, now, channel="webhook", address=hook)
    if mail:
        _route(fleet, manager, now, channel="email", address=f"gate@{slug}.example")
    at = now - timedelta(seconds=30)
    events = [factories.reading(at, unit=unit_number(slug, i)) for i in range(units)]
    ingest(fleet.pk, split_batch(orjson.dumps(events)), now=now)
    # Last: a worker that runs meanwhile must not find trips whose units have not reported.
    for i in range(units):
        _plan(fleet, manager, now - SOONER, reference=f"T-{i}", unit=unit_number(slug, i))
    return {
        "slug": slug,
        "fleet_id": fleet.pk,
        "units": [unit.number for unit in made],
        "address": f"gate@{slug}.example",
        "integrator": factories.token_of(fleet, Role.INTEGRATOR),
        "manager": factories.token_of(fleet, Role.MANAGER),
        "dispatcher": factories.token_of(fleet, Role.DISPATCHER),
    }


def _plan(fleet: Any, by: Any, at: Any, *, reference: str, unit: str) -> None:
    from fleet.trips.serializers import TripInput
    from fleet.trips.service import create_trip
    from tests import factories

    serializer = TripInput(data=factories.trip_body(at, reference=reference, unit=unit))
    serializer.is_valid(raise_exception=True)
    create_trip(fleet, serializer.validated_data, by=by, now=at)


def _route(fleet: Any, manager: Any, now: Any, **way: str) -> None:
    from alarms.notices.routes import create_route

    create_route(fleet, {"member": manager.username, "kinds": ["alarm", "hold"], **way}, by=manager, now=now)


def main() -> None:
    """A wish: prefix, fleets, units (of each), hook (URL) or null, and mail (true: beside the hook as well)."""
    django.setup()
    from django.db import connections

    from tests import factories

    for line in sys.stdin:
        wanted = json.loads(line)
        factories.potato()
        hook = wanted.get("hook")
        made = [
            found_one(
                f"{wanted['prefix']}{i}", units=wanted.get("units", 8), hook=hook, mail=wanted.get("mail") or not hook
            )
            for i in range(wanted.get("fleets", 1))
        ]
        connections.close_all()
        sys.stdout.write(json.dumps(made) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
