"""The invented carrier of a service benchmark: a thousand units that have reported, trips, tokens, and a client."""

from __future__ import annotations

import http.client
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import orjson

from tests.benchmarks.ground import HOST

UNITS = 1000
TRIPS = 60
LATER = 10
"""So many trips leave in six hours; the others within two, which is what makes a notice of them go out at once."""
SOONER = timedelta(hours=4.1)


SENDERS = 8
"""Who posts events at once, each for units of its own, as gateways do: as many as both web processes take in."""
OF_EACH = 500
"""Units of each sender: the worst case for a batch of that size, which moves as many states."""


@dataclass(frozen=True, slots=True)
class Sending:
    """A second fleet, which only sends: as many units as all senders have."""

    unit_ids: list[int]
    source_id: int
    integrator: str


@dataclass(frozen=True, slots=True)
class Yard:
    """Ids and tokens of what was made."""

    fleet_id: int
    unit_ids: list[int]
    source_id: int
    integrator: str
    dispatcher: str
    now: datetime
    sending: Sending


def make_yard() -> Yard:
    """Fills a migrated database. Django is set up."""
    from django.utils import timezone

    from fleet.models import Role
    from fleet.partitions import ensure_partitions
    from tests import factories

    now = timezone.now().replace(microsecond=0)
    ensure_partitions(now=now)  # as the first round of the sweep does
    factories.potato()
    fleet = factories.make_fleet()
    units, source = _fill(fleet, UNITS, now, later=LATER)
    sending = factories.make_fleet("senders", "Senders")
    of_senders, of_sending = _fill(sending, SENDERS * OF_EACH, now, later=TRIPS)
    return Yard(
        fleet_id=fleet.pk,
        unit_ids=[unit.pk for unit in units],
        source_id=source.pk,
        integrator=factories.token_of(fleet, Role.INTEGRATOR),
        dispatcher=factories.token_of(fleet, Role.DISPATCHER),
        now=now,
        sending=Sending([unit.pk for unit in of_senders], of_sending.pk, factories.token_of(sending, Role.INTEGRATOR)),
    )


def _fill(fleet: Any, count: int, now: datetime, *, later: int) -> tuple[list[Any], Any]:
    """Units that have reported twice, some of them with trips; and the source of their readings."""
    from fleet.ingest.parse import split_batch
    from fleet.ingest.service import ingest
    from fleet.models import Role, Source, Unit, UnitState
    from tests import factories

    Unit.objects.bulk_create(_units(fleet, count, now))
    units = list(Unit.objects.for_fleet(fleet).order_by("number"))
    UnitState.objects.bulk_create([UnitState(fleet=fleet, unit=unit) for unit in units])
    _plan_trips(fleet, factories.make_member(fleet, Role.DISPATCHER), now, later=later)
    for start in range(0, count, 500):
        numbers = range(start, start + 500)
        for at, ran_h in ((now - timedelta(hours=1), 0.0), (now - timedelta(seconds=30), 1.0)):
            events = [_report(i, at, ran_h) for i in numbers]
            ingest(fleet.pk, split_batch(orjson.dumps(events)), now=now)
    return units, Source.objects.for_fleet(fleet).get()


def _report(i: int, at: datetime, ran_h: float) -> dict[str, Any]:
    """A reading of the i-th unit; between its first and its last each unit has run for another number of hours."""
    return reading(number_of(i), at, fuel_l=60.0 + i % 120, engine_hours_h=1000.0 + ran_h * (200.0 + 3.7 * i))


def _units(fleet: Any, count: int, now: datetime) -> list[Any]:
    """No two alike: three models, built over nine years, every second one with a K value that was measured."""
    from fleet.models import Unit
    from tests import factories

    models = [
        factories.make_model(fleet, f"box-{output_kw:g}", heater_output_kw=output_kw) for output_kw in (8.0, 6.5, 9.0)
    ]
    made = []
    for i in range(count):
        age = timedelta(days=(i * 37) % 3285)
        test = {"k_test_w_m2k": 0.38 + (i * 7 % 100) / 500, "k_tested_on": (now - age / 3).date()} if i % 2 else {}
        made.append(Unit(fleet=fleet, number=number_of(i), model=models[i % 3], built_on=(now - age).date(), **test))
    return made


def _plan_trips(fleet: Any, by: Any, now: datetime, *, later: int) -> None:
    from fleet.trips.serializers import TripInput
    from fleet.trips.service import create_trip
    from tests import factories

    def plan(at: datetime, **changes: Any) -> None:
        serializer = TripInput(data=factories.trip_body(at, **changes))
        serializer.is_valid(raise_exception=True)
        create_trip(fleet, serializer.validated_data, by=by, now=now)

    for i in range(TRIPS):
        plan(now if i < later else now - SOONER, reference=f"T-{i}", unit=number_of(i))
    for name, colder_k in (("MILD", 0.0), ("SEVERE", -14.0)):
        body = factories.trip_body(now)
        ambient = [{**point, "temp_c": point["temp_c"] + colder_k} for point in body["ambient"]]
        plan(now, reference=name, unit=None, ambient=ambient)


def number_of(i: int) -> str:
    return f"HB-{i:04d}"


def reading(unit: str, at: datetime, **data: Any) -> dict[str, Any]:
    from tests import factories

    return factories.reading(at, unit=unit, **data)


class Client:
    """One keep-alive connection that speaks for a member."""

    def __init__(self, port: int, token: str) -> None:
        self._connection = http.client.HTTPConnection(HOST, port, timeout=60)
        self._headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def send(self, method: str, path: str, body: bytes | None = None, *, status: int = 200) -> bytes:
        self._connection.request(method, path, body, self._headers)
        response = self._connection.getresponse()
        content = response.read()
        if response.status != status:
            raise RuntimeError(f"{method} {path} answered {response.status}: {content[:300]!r}")
        return content

    def get(self, path: str) -> bytes:
        return self.send("GET", path)
