"""Answers are stored in groups, and still each trip costs only itself."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import DataError, connection
from django.test.utils import CaptureQueriesContext

from fleet.holds import HoldListener
from fleet.models import Assessment, Fleet, Hold, Member, Trip
from fleet.readiness import hold_service, storing
from fleet.readiness.assess import Answer
from fleet.readiness.hold_service import HoldStep, carry_out
from fleet.readiness.service import assess_trips
from fleet.registry import Registry
from tests.db.conftest import plan, post
from tests.factories import make_unit, potato, reading

S = timedelta(seconds=1)
MANY = 12


@pytest.fixture
def trips(tarn: Fleet, dispatcher: Member, now: datetime) -> list[int]:
    """Trips that are all blocked: each unit holds another temperature than its load needs."""
    potato()
    made = []
    for number in range(MANY):
        make_unit(tarn, f"HB-{number}")
        made.append(plan(tarn, dispatcher, now, reference=f"T-{number}", unit=f"HB-{number}").pk)
    post(tarn, *[reading(now, unit=f"HB-{number}", set_point_c=2.0) for number in range(MANY)], now=now)
    Trip.objects.for_fleet(tarn).update(assess_due_at=now - S)
    return made


def held(fleet: Fleet) -> set[int]:
    return set(Hold.objects.for_fleet(fleet).filter(state=Hold.State.OPEN).values_list("trip_id", flat=True))


def test_a_hold_that_cannot_be_moved_costs_its_own_trip_and_is_tried_again(
    tarn: Fleet, trips: list[int], now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken_for_one(step: HoldStep, *, now: datetime) -> None:
        carry_out(step, now=now)
        if step.trip.pk == trips[3]:
            raise DataError("the row is too long")

    with monkeypatch.context() as patched:
        patched.setattr(storing, "carry_out", broken_for_one)
        assess_trips(trips, now=now)
    assert held(tarn) == set(trips) - {trips[3]}
    assert set(Trip.objects.for_fleet(tarn).filter(assess_due_at__lte=now).values_list("pk", flat=True)) == {trips[3]}
    assess_trips([trips[3]], now=now + S)
    assert held(tarn) == set(trips)


@pytest.mark.django_db(transaction=True)
def test_a_group_that_cannot_be_stored_is_stored_trip_by_trip(
    tarn: Fleet, trips: list[int], now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    append_all = storing.append_all

    def refusing_one(answers: Sequence[Any], *, trigger: str) -> None:
        if any(answer.facts.trip.id == trips[5] for answer, _ in answers):
            raise DataError("not a number in a document")
        append_all(answers, trigger=trigger)

    monkeypatch.setattr(storing, "append_all", refusing_one)
    assess_trips(trips, now=now)
    assert held(tarn) == set(trips) - {trips[5]}
    assert Assessment.objects.for_fleet(tarn).count() == MANY - 1
    assert Trip.objects.for_fleet(tarn).get(pk=trips[5]).assess_due_at == now - S


def test_units_and_trips_are_locked_once_each_in_ascending_order(tarn: Fleet, trips: list[int], now: datetime) -> None:
    with CaptureQueriesContext(connection) as captured:
        assess_trips(trips[::-1], now=now)
    said = [query["sql"] for query in captured]
    states = [place for place, sql in enumerate(said) if 'FROM "fleet_unitstate"' in sql and "EXISTS" not in sql]
    locked = [place for place, sql in enumerate(said) if 'FROM "fleet_trip"' in sql and place > states[0]]
    writes = [place for place, sql in enumerate(said) if sql.startswith(("INSERT", "UPDATE"))]
    assert 'ORDER BY "fleet_unitstate"."unit_id" ASC' in said[states[0]]
    assert 'ORDER BY "fleet_trip"."id" ASC' in said[locked[0]]
    assert states[0] < locked[0] < writes[0]


def test_a_newer_fact_of_one_trip_leaves_the_due_times_of_the_others(
    tarn: Fleet, trips: list[int], now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    lock_trips = storing.lock_trips

    def as_a_reading_arrives(ids: Sequence[int]) -> dict[int, Trip]:
        post(tarn, reading(now + S, unit="HB-7", fuel_l=20.0), now=now)
        return lock_trips(ids)

    monkeypatch.setattr(storing, "lock_trips", as_a_reading_arrives)
    assess_trips(trips, now=now)
    due = set(Trip.objects.for_fleet(tarn).filter(assess_due_at__lte=now + S).values_list("pk", flat=True))
    assert due == {trips[7]}


def test_a_trip_that_a_listener_cannot_bear_costs_only_itself(
    trips: list[int], now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[int] = []

    def assessed(stored: Sequence[tuple[Trip, Answer]], at: datetime) -> None:
        if any(trip.pk == trips[2] for trip, _ in stored):
            raise ValueError("this trip is strange")
        told.extend(trip.pk for trip, _ in stored)

    own: Registry[HoldListener] = Registry("listeners of a test")
    own.add(HoldListener("strange", told=lambda *_: None, missed=lambda _: 0, assessed=assessed))
    monkeypatch.setattr(hold_service, "listeners", own)
    assess_trips(trips, now=now)
    assert told == [trip for trip in trips if trip != trips[2]]
