"""A burst of readings is one question per trip, however many readings it holds and however often the bell rings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Fleet, Member, Reading, Trip
from fleet.readiness import service
from fleet.readiness.assess import Answer
from fleet.readiness.service import assess_due
from fleet.readiness.storing import store_answers
from fleet.tasks import assess_all_due
from tests.db.conftest import plan, post
from tests.factories import make_model, make_unit, potato, reading

UNITS, ROUNDS, BATCH = 60, 10, 100
S = timedelta(seconds=1)


@pytest.fixture
def yard(tarn: Fleet, dispatcher: Member, now: datetime) -> Fleet:
    """Sixty units, each with its own trip, all of them answered and quiet."""
    potato()
    model = make_model(tarn)
    for number in range(UNITS):
        make_unit(tarn, f"HB-{number}", model)
        plan(tarn, dispatcher, now, reference=f"T-{number}", unit=f"HB-{number}")
    Trip.objects.for_fleet(tarn).update(assess_due_at=now + timedelta(hours=1))
    return tarn


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
    """Ten readings of every unit, in batches that mix all of them."""
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
    burst(yard, now + 3 * S)
    assert Reading.objects.across_fleets().count() == UNITS * ROUNDS
    Trip.objects.for_fleet(yard).filter(assess_due_at__lte=now + 5 * S).update(assess_due_at=now - S)
    assert assess_all_due(woken_by="task") == UNITS
    assert assess_all_due(woken_by="task") == 0
    assert assessed == Counter({f"T-{number}": 1 for number in range(UNITS)})


def test_a_batch_of_readings_costs_the_same_statements_for_few_units_and_for_many(yard: Fleet, now: datetime) -> None:
    def statements(units: int, at: datetime) -> int:
        events = [reading(at, unit=f"HB-{number}") for number in range(units)]
        with CaptureQueriesContext(connection) as captured:
            post(yard, *events, now=now)
        return len(captured)

    statements(1, now)
    assert statements(5, now + S) == statements(UNITS, now + 2 * S)
