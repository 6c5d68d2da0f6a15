"""A burst of readings is one question per trip, however many readings it holds and however often the bell rings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Assessment, Fleet, Member, Reading, Trip, Unit, UnitState
from fleet.readiness import service
from fleet.readiness.assess import Answer
from fleet.readiness.service import assess_due
from fleet.readiness.storing import store_answers
from fleet.tasks import assess_due as task
from tests.db.conftest import plan, post
from tests.factories import make_model, make_unit, potato, reading

UNITS, ROUNDS, BATCH = 1000, 10, 500
S = timedelta(seconds=1)
LATER = timedelta(seconds=60)
"""So long after the real clock, by which the worker looks, comes the burst: nothing falls due while it is written."""


@pytest.fixture
def yard(tarn: Fleet, dispatcher: Member, now: datetime) -> Fleet:
    """A thousand units, each with its own trip (dry goods: what is asked of them costs least), all of them quiet."""
    potato()
    make_unit(tarn, "HB-0", make_model(tarn))
    trip = plan(tarn, dispatcher, now, reference="T-0", unit="HB-0")
    Trip.objects.for_fleet(tarn).update(loads=[], assess_due_at=now + timedelta(hours=1))
    trip.refresh_from_db()
    numbers = range(1, UNITS)
    units = [Unit(fleet=tarn, number=f"HB-{number}", model=trip.planned_unit.model) for number in numbers]
    Unit.objects.bulk_create(units)
    UnitState.objects.bulk_create([UnitState(fleet=tarn, unit=unit) for unit in units])
    alike = model_to_row(trip)
    Trip.objects.bulk_create(
        Trip(**alike | {"reference": f"T-{number}", "planned_unit": unit})
        for number, unit in zip(numbers, units, strict=True)
    )
    return tarn


def model_to_row(trip: Trip) -> dict[str, Any]:
    return {field.name: getattr(trip, field.name) for field in Trip._meta.concrete_fields if not field.primary_key}


@pytest.fixture
def assessed(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often each trip's answer was stored by the worker."""
    counted: Counter[str] = Counter()

    def counting(answers: Sequence[Answer], *, now: datetime) -> None:
        counted.update(answer.facts.trip.reference for answer in answers)
        store_answers(answers, now=now)

    monkeypatch.setattr(service, "store_answers", counting)
    return counted


def burst(fleet: Fleet, at: datetime) -> None:
    """Ten thousand readings, ten of every unit, each batch with those of half of the units."""
    events = [
        reading(at + timedelta(milliseconds=10 * turn), unit=f"HB-{number}", fuel_l=150.0 - turn)
        for turn in range(ROUNDS)
        for number in range(UNITS)
    ]
    for start in range(0, len(events), BATCH):
        answer = post(fleet, *events[start : start + BATCH], now=at)
        assert answer.accepted == BATCH
        assert assess_due() == 0, "the bell rings after each batch; nothing is due before the burst has settled"


def test_a_burst_causes_one_assessment_per_trip(yard: Fleet, now: datetime, assessed: Counter[str]) -> None:
    burst(yard, now + LATER)
    assert Reading.objects.across_fleets().count() == UNITS * ROUNDS == 10_000
    Trip.objects.for_fleet(yard).filter(assess_due_at__lte=now + LATER + 2 * S).update(assess_due_at=now - S)
    assert task.apply().get() == UNITS
    assert task.apply().get() == 0, "every further bell of the burst finds nothing"
    assert assessed == Counter({f"T-{number}": 1 for number in range(UNITS)})
    assert Assessment.objects.for_fleet(yard).count() == UNITS


def test_a_batch_of_readings_costs_the_same_statements_for_few_units_and_for_many(yard: Fleet, now: datetime) -> None:
    def statements(units: int, at: datetime) -> int:
        events = [reading(at, unit=f"HB-{number}") for number in range(units)]
        with CaptureQueriesContext(connection) as captured:
            post(yard, *events, now=now)
        return len(captured)

    statements(1, now)
    assert statements(5, now + S) == statements(UNITS, now + 2 * S)
