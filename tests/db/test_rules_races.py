"""Two at a time: locks, retries and claims, with real threads and a connection each.

On SQLite the IMMEDIATE transaction is the lock, on PostgreSQL the unit's state row and SKIP LOCKED.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
import time_machine
from django.db import connection

from fleet.models import Fleet, Member, Reading, Trip, UnitState
from fleet.readiness.service import assess_due, readiness
from fleet.trips.gate import DispatchBlocked, Passage, assign_unit
from tests.db.conftest import in_threads, plan, post
from tests.factories import make_unit, reading

pytestmark = pytest.mark.django_db(transaction=True)
S = timedelta(seconds=1)


def test_one_unit_is_not_given_to_two_overlapping_trips(
    tarn: Fleet, dispatcher: Member, warm_trip: Trip, now: datetime
) -> None:
    """Failing sequence: both gates read "free", both assign. The unit's lock makes the second one look again."""
    change_to_assignable(tarn, now)
    plan(tarn, dispatcher, now, reference="T-2", unit=None)
    Trip.objects.for_fleet(tarn).filter(reference="T-1").update(planned_unit=None)

    def assign(reference: str) -> Passage:
        return assign_unit(tarn, reference, "HB-104", revision=None, by=dispatcher, now=now)

    results = in_threads(lambda: assign("T-1"), lambda: assign("T-2"))
    assert sorted(type(result).__name__ for result in results) == ["DispatchBlocked", "Passage"]
    assert Trip.objects.for_fleet(tarn).filter(assigned_unit__isnull=False).count() == 1


def change_to_assignable(fleet: Fleet, now: datetime) -> None:
    """An unblocked unit needs only a pre-trip inspection that is not due before loading; nothing to do here yet."""
    assert readiness(fleet.pk, "T-1")["verdict"] == "conditional"


def test_a_blocking_reading_and_an_assignment_cannot_miss_each_other(
    tarn: Fleet, dispatcher: Member, warm_trip: Trip, now: datetime
) -> None:
    """Whoever is second sees the first: refused, or assigned and due at once, so that the hold follows."""
    results = in_threads(
        lambda: post(tarn, reading(now + S, set_point_c=2.0), now=now),
        lambda: assign_unit(tarn, "T-1", "HB-104", revision=None, by=dispatcher, now=now),
    )
    trip = Trip.objects.for_fleet(tarn).get()
    assert trip.assess_due_at is not None
    assert trip.assess_due_at <= now + 2 * S
    if isinstance(results[1], DispatchBlocked):
        assert trip.assigned_unit_id is None
    else:
        assert trip.assigned_unit_id is not None
        assert readiness(tarn.pk, "T-1")["verdict"] == "blocked"


def test_batches_over_the_same_units_in_opposite_order_both_land(tarn: Fleet, now: datetime) -> None:
    numbers = [f"HB-{n}" for n in range(200, 220)]
    for number in numbers:
        make_unit(tarn, number)
    forward = [reading(now, unit=number) for number in numbers]
    backward = [reading(now + S, unit=number) for number in reversed(numbers)]
    results = in_threads(*[lambda events=events: post(tarn, *events, now=now) for events in (forward, backward) * 3])
    assert [result for result in results if isinstance(result, Exception)] == []
    assert sum(result.accepted for result in results) == 40
    assert Reading.objects.across_fleets().count() == 40
    assert set(UnitState.objects.for_fleet(tarn).values_list("newest_at", flat=True)) == {now + S}


def test_the_same_reading_from_two_senders_at_once_is_stored_once(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    event = reading(now + S, fuel_l=99.0)
    results = in_threads(*[lambda: post(tarn, event, now=now)] * 4)
    assert sorted(result.accepted for result in results) == [0, 0, 0, 1]
    assert sum(result.count("duplicate") for result in results) == 3


def test_two_workers_share_due_trips_without_doing_one_twice(tarn: Fleet, dispatcher: Member, now: datetime) -> None:
    for number in range(300, 312):
        make_unit(tarn, f"HB-{number}")
        plan(tarn, dispatcher, now, reference=f"T-{number}", unit=f"HB-{number}")
    post(tarn, *[reading(now, unit=f"HB-{number}") for number in range(300, 312)], now=now)
    Trip.objects.for_fleet(tarn).update(assess_due_at=now - S)
    done = in_threads(lambda: assess_due(limit=12), lambda: assess_due(limit=12))
    assert sum(done) == 12
    assert not Trip.objects.for_fleet(tarn).filter(assess_due_at__lte=now).exists()


def test_a_worker_whose_clock_is_wrong_claims_by_the_databases_clock(
    tarn: Fleet, warm_trip: Trip, now: datetime
) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has no clock of its own: one machine, one clock")
    Trip.objects.for_fleet(tarn).update(assess_due_at=now + timedelta(minutes=30))
    with time_machine.travel(now + timedelta(hours=1), tick=True):
        assert assess_due() == 0
