"""Run in the service's environment: makes fleets with units, trips and routes, and prints their tokens as JSON.

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


def found_one(slug: str, *, units: int, hook: str | None) -> dict[str, Any]:
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
    _route(fleet, manager, now, hook=hook)
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


def _route(fleet: Any, manager: Any, now: Any, *, hook: str | None) -> None:
    from alarms.notices.routes import create_route

    wanted = {"member": manager.username, "kinds": ["alarm", "hold"]}
    way = {"channel": "webhook", "address": hook} if hook else {"channel": "email"}
    address = {} if hook else {"address": f"gate@{fleet.slug}.example"}
    create_route(fleet, wanted | way | address, by=manager, now=now)


def main() -> None:
    """Arguments as one JSON object: prefix, fleets, units (of each), hook (URL) or null."""
    django.setup()
    from tests import factories

    wanted = json.loads(sys.argv[1])
    factories.potato()
    made = [
        found_one(f"{wanted['prefix']}{i}", units=wanted.get("units", 8), hook=wanted.get("hook"))
        for i in range(wanted.get("fleets", 1))
    ]
    sys.stdout.write(json.dumps(made))


if __name__ == "__main__":
    main()
