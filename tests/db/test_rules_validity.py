"""An answer is current while everything it was made from is: each writer moves its own version."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest

from fleet.models import Assessment, Fleet, Hold, Member, Trip
from fleet.readiness.assess import assess
from fleet.readiness.selectors import facts_of_trips, trips_with_units
from fleet.readiness.service import assess_trips, readiness
from fleet.readiness.standing import find_standing
from fleet.readiness.storing import store_answers
from fleet.trips.service import change_trip, replace_ambient
from fleet.units.service import change_policy, change_unit, change_unit_model
from fleet.units.state import record_facts
from tests.db.conftest import plan, post
from tests.factories import make_unit, reading

Write = Callable[[Fleet, Member, datetime], object]


def _ambient(fleet: Fleet, by: Member, now: datetime) -> object:
    points = [{"at": now, "temp_c": -5.0}, {"at": now + timedelta(hours=40), "temp_c": -5.0}]
    forecast = {"ambient": points, "ambient_issued_at": now}
    return replace_ambient(fleet, "T-1", forecast, revision=None, by=by, now=now)


def _facts(fleet: Fleet, by: Member, now: datetime) -> object:
    unit_id = Trip.objects.for_fleet(fleet).get().planned_unit_id
    return record_facts({unit_id: {"inspections.coolant_glycol_pct": 50.0}}, at=now, source="test")


WRITERS: dict[str, Write] = {
    "a reading": lambda fleet, by, now: post(fleet, reading(now + timedelta(seconds=1), fuel_l=149.0), now=now),
    "a fact of another app": _facts,
    "the trip's plan": lambda fleet, by, now: change_trip(
        fleet, "T-1", {"depart_at": now + timedelta(hours=6, minutes=1)}, revision=None, by=by, now=now
    ),
    "the ambient forecast": _ambient,
    "the policy": lambda fleet, by, now: change_policy(fleet, {"fuel_reserve_l": 20.0}, revision=None, by=by, now=now),
    "the unit": lambda fleet, by, now: change_unit(
        fleet, "HB-104", {"built_on": now.date()}, revision=None, by=by, now=now
    ),
    "the unit model": lambda fleet, by, now: change_unit_model(
        fleet, "box-8", {"tank_l": 180.0}, revision=None, by=by, now=now
    ),
    "another trip of the unit": lambda fleet, by, now: plan(fleet, by, now, reference="T-2"),
}


@pytest.mark.parametrize("name", sorted(WRITERS))
def test_every_writer_makes_the_stored_answer_stale(
    name: str, tarn: Fleet, dispatcher: Member, warm_trip: Trip, now: datetime
) -> None:
    readiness(tarn.pk, "T-1")
    before = find_standing(tarn.pk, "T-1")
    assert before is not None
    assert before.current
    WRITERS[name](tarn, dispatcher, now)
    after = find_standing(tarn.pk, "T-1")
    assert after is not None
    assert not after.current


def test_an_unchanged_answer_is_read_back_as_it_was(tarn: Fleet, warm_trip: Trip) -> None:
    assert readiness(tarn.pk, "T-1") == readiness(tarn.pk, "T-1")


def test_time_alone_makes_an_answer_stale(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    readiness(tarn.pk, "T-1")
    Assessment.objects.across_fleets().update(valid_until=now - timedelta(seconds=1))
    standing = find_standing(tarn.pk, "T-1")
    assert standing is not None
    assert not standing.current


def test_a_hold_opens_although_a_read_stored_the_blocked_answer_first(
    tarn: Fleet, warm_trip: Trip, now: datetime
) -> None:
    """Failing sequence: GET stores `blocked`; a worker that compares with the last assessment sees nothing new."""
    post(tarn, reading(now + timedelta(seconds=1), set_point_c=2.0), now=now)
    assert readiness(tarn.pk, "T-1")["verdict"] == "blocked"
    assert not Hold.objects.for_fleet(tarn).exists()
    assess_trips([warm_trip.pk], now=now + timedelta(seconds=2))
    assert Hold.objects.for_fleet(tarn).get().state == Hold.State.OPEN


def test_the_worker_does_not_push_a_newer_due_time_away(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    """Failing sequence: facts are read, a reading arrives and makes the trip due, then the old answer is written."""
    answer = assess(facts_of_trips(trips_with_units([warm_trip.pk])), now=now)[0]
    Trip.objects.for_fleet(tarn).update(assess_due_at=now + timedelta(minutes=1))
    post(tarn, reading(now + timedelta(seconds=1), fuel_l=20.0), now=now)
    store_answers([answer], now=now)
    assert Trip.objects.for_fleet(tarn).get().assess_due_at <= now + timedelta(seconds=1)


def test_ingest_pulls_due_times_near_and_never_out(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    Trip.objects.for_fleet(tarn).update(assess_due_at=now - timedelta(minutes=5))
    post(tarn, reading(now + timedelta(seconds=1)), now=now)
    assert Trip.objects.for_fleet(tarn).get().assess_due_at == now - timedelta(minutes=5)


def test_history_grows_only_when_the_answer_says_something_new(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    assess_trips([warm_trip.pk], now=now)
    post(tarn, reading(now + timedelta(seconds=1), fuel_l=149.9), now=now)
    assess_trips([warm_trip.pk], now=now + timedelta(seconds=2))
    first = Assessment.objects.for_fleet(tarn).get()
    assert first.confirmed_at > first.computed_at
    post(tarn, reading(now + timedelta(seconds=3), set_point_c=2.0), now=now)
    assess_trips([warm_trip.pk], now=now + timedelta(seconds=4))
    assert list(Assessment.objects.for_fleet(tarn).order_by("id").values_list("verdict", flat=True)) == [
        first.verdict,
        "blocked",
    ]


def test_events_do_not_move_the_etag_of_a_trip(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    before = Trip.objects.for_fleet(tarn).get().revision
    post(tarn, reading(now + timedelta(seconds=1), set_point_c=2.0), now=now)
    assess_trips([warm_trip.pk], now=now)
    assert Trip.objects.for_fleet(tarn).get().revision == before


def test_a_reading_of_another_fleets_unit_number_moves_nothing_here(
    tarn: Fleet, other: Fleet, warm_trip: Trip, now: datetime
) -> None:
    make_unit(other)
    before = find_standing(tarn.pk, "T-1")
    post(other, reading(now, fuel_l=5.0), now=now)
    after = find_standing(tarn.pk, "T-1")
    assert before is not None
    assert after is not None
    assert after.versions == before.versions
