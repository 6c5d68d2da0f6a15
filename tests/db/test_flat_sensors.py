"""A sensor that shows one value while the heater cycles is found in the stored readings, and makes the unit unknown."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Fleet, Trip, UnitState
from fleet.readiness.service import readiness
from fleet.units.flat_sensors import FACT, find_flat_sensors
from tests import factories
from tests.db.conftest import post

STEP = timedelta(minutes=10)


def report(fleet: Fleet, now: datetime, rows: Iterable[dict[str, Any]], **fields: Any) -> None:
    """Posts the rows as one reading each, ten minutes apart, the last of them at *now*."""
    values = list(rows)
    start = now - STEP * (len(values) - 1)
    events = [factories.reading(start + STEP * i, **{**fields, **row}) for i, row in enumerate(values)]
    for first in range(0, len(events), 500):
        assert post(fleet, *events[first : first + 500], now=now).count("quarantined") == 0


def cycling(hours: float, *, stuck: bool) -> list[dict[str, Any]]:
    """Readings of a unit whose heater runs every other time; its air follows, unless the sensor is stuck."""
    count = int(hours * 6) + 1
    return [
        {
            "return_air_c": 7.1 if stuck else 6.5 + (i % 2) * 1.2,
            "discharge_air_c": 20.0 - (i % 2) * 12.0,
            "ambient_c": -10.0 - i * 0.1,
            "heater_running": i % 2 == 0,
        }
        for i in range(count)
    ]


def flat_of(trip: Trip) -> list[str]:
    state = UnitState.objects.across_fleets().get(unit_id=trip.planned_unit_id)
    return list(state.facts.get(FACT, [[]])[0])


def telemetry_of(fleet: Fleet) -> dict[str, Any]:
    return next(f for f in readiness(fleet.pk, "T-1")["findings"] if f["check"] == "fleet.telemetry")


def test_a_stuck_box_sensor_is_named_and_the_unit_is_no_longer_known(
    tarn: Fleet, warm_trip: Trip, now: datetime
) -> None:
    report(tarn, now - STEP, cycling(7, stuck=True))
    later = now + timedelta(hours=1)
    Trip.objects.for_fleet(tarn).update(assess_due_at=later)
    assert find_flat_sensors(now) == 1
    assert flat_of(warm_trip) == ["return_air_c"]
    assert Trip.objects.for_fleet(tarn).get().assess_due_at == now
    finding = telemetry_of(tarn)
    assert finding["outcome"] in ("pending", "unknown")
    assert "return_air_c" in finding["message"]


def test_what_moves_is_not_flat(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    report(tarn, now - STEP, cycling(7, stuck=False))
    assert find_flat_sensors(now) == 0
    assert telemetry_of(tarn)["outcome"] == "pass"


@pytest.mark.parametrize("running", [True, False])
def test_one_value_is_no_fault_while_the_heater_neither_starts_nor_stops(
    tarn: Fleet, warm_trip: Trip, now: datetime, running: bool
) -> None:
    rows = [row | {"heater_running": running} for row in cycling(7, stuck=True)]
    report(tarn, now - STEP, rows)
    assert find_flat_sensors(now) == 0


def test_an_outside_sensor_may_stand_still_for_a_night_but_not_for_a_day(
    tarn: Fleet, warm_trip: Trip, now: datetime
) -> None:
    rows = [row | {"ambient_c": -10.0} for row in cycling(20, stuck=False)]
    report(tarn, now - STEP, [rows[0] | {"ambient_c": -9.0}, *rows])
    assert find_flat_sensors(now) == 0
    for later in (now + timedelta(hours=2), now + timedelta(hours=5)):
        post(tarn, factories.reading(later, ambient_c=-10.0, return_air_c=7.7), now=later)
    assert find_flat_sensors(now + timedelta(hours=5)) == 1
    assert flat_of(warm_trip) == ["ambient_c"]


def test_the_fact_goes_when_the_sensor_moves_again(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    report(tarn, now - STEP, cycling(7, stuck=True))
    find_flat_sensors(now)
    version = UnitState.objects.for_fleet(tarn).get().version
    assert find_flat_sensors(now + timedelta(seconds=5)) == 0
    assert UnitState.objects.for_fleet(tarn).get().version == version
    moved = now + timedelta(minutes=5)
    post(tarn, factories.reading(moved, return_air_c=6.2, ambient_c=-12.0), now=moved)
    assert find_flat_sensors(moved) == 1
    assert flat_of(warm_trip) == []


def test_a_working_second_source_that_reports_last_is_believed(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    report(tarn, now - 2 * STEP, cycling(7, stuck=True), source="gateway/old")
    report(tarn, now - STEP, cycling(7, stuck=False), source="gateway/new")
    assert find_flat_sensors(now) == 0


def test_the_cost_does_not_grow_with_the_units(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    report(tarn, now - STEP, cycling(7, stuck=True))
    with CaptureQueriesContext(connection) as queries:
        find_flat_sensors(now)
    assert len(queries) <= 11, [query["sql"][:90] for query in queries]
