"""Holds: when they open, what changes them, and what it takes to lift one."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from fleet.models import Fleet, Hold, Member, Trip
from fleet.readiness.hold_service import ReleaseNotAllowed, release_hold
from fleet.readiness.service import assess_trips, readiness
from fleet.trips.service import change_trip, finish_trip
from tests.db.conftest import plan, post
from tests.factories import make_unit, potato, reading

S = timedelta(seconds=1)
MIN = timedelta(minutes=1)


def block(fleet: Fleet, at: datetime) -> None:
    post(fleet, reading(at, set_point_c=2.0), now=at)


def clear(fleet: Fleet, at: datetime) -> None:
    post(fleet, reading(at, set_point_c=7.0), now=at)


def the_hold(fleet: Fleet) -> Hold:
    hold: Hold = Hold.objects.for_fleet(fleet).get()
    return hold


@pytest.fixture
def held(tarn: Fleet, warm_trip: Trip, now: datetime) -> Trip:
    block(tarn, now + S)
    assess_trips([warm_trip.pk], now=now + 2 * S)
    assert the_hold(tarn).state == Hold.State.OPEN
    return warm_trip


def test_pending_facts_never_open_a_hold(tarn: Fleet, warm_trip: Trip, now: datetime) -> None:
    findings = assess_trips([warm_trip.pk], now=now)[0].findings
    assert any(finding.outcome == "pending" for finding in findings)
    assert not Hold.objects.for_fleet(tarn).exists()


def test_outside_the_look_ahead_nothing_opens_until_it_begins(tarn: Fleet, dispatcher: Member, now: datetime) -> None:
    potato()
    make_unit(tarn)
    trip = plan(tarn, dispatcher, now + timedelta(hours=30))
    post(tarn, reading(now, set_point_c=2.0), now=now)
    assess_trips([trip.pk], now=now)
    assert not Hold.objects.for_fleet(tarn).exists()
    trip.refresh_from_db()
    assert trip.assess_due_at <= trip.depart_at - timedelta(hours=24)
    later = trip.depart_at - timedelta(hours=23)
    post(tarn, reading(later, set_point_c=2.0), now=later)
    assess_trips([trip.pk], now=later)
    assert the_hold(tarn).state == Hold.State.OPEN


def test_one_unblocked_answer_does_not_lift_and_two_ten_minutes_apart_do(
    tarn: Fleet, held: Trip, now: datetime
) -> None:
    clear(tarn, now + MIN)
    assess_trips([held.pk], now=now + MIN)
    assert the_hold(tarn).state == Hold.State.OPEN
    held.refresh_from_db()
    assert held.assess_due_at <= now + 11 * MIN
    clear(tarn, now + 5 * MIN)
    assess_trips([held.pk], now=now + 5 * MIN)
    assert the_hold(tarn).state == Hold.State.OPEN
    assess_trips([held.pk], now=now + 11 * MIN)
    assert the_hold(tarn).state == Hold.State.LIFTED


def test_a_block_in_between_starts_the_wait_again(tarn: Fleet, held: Trip, now: datetime) -> None:
    clear(tarn, now + MIN)
    assess_trips([held.pk], now=now + MIN)
    block(tarn, now + 3 * MIN)
    assess_trips([held.pk], now=now + 3 * MIN)
    clear(tarn, now + 4 * MIN)
    assess_trips([held.pk], now=now + 4 * MIN)
    assess_trips([held.pk], now=now + 12 * MIN)
    assert the_hold(tarn).state == Hold.State.OPEN
    assess_trips([held.pk], now=now + 14 * MIN)
    assert the_hold(tarn).state == Hold.State.LIFTED


def test_blocked_again_within_two_hours_is_the_same_hold(tarn: Fleet, held: Trip, now: datetime) -> None:
    clear(tarn, now + MIN)
    assess_trips([held.pk], now=now + MIN)
    assess_trips([held.pk], now=now + 12 * MIN)
    block(tarn, now + 60 * MIN)
    assess_trips([held.pk], now=now + 60 * MIN)
    assert the_hold(tarn).state == Hold.State.OPEN
    assert the_hold(tarn).reopened == 1


def test_a_release_opens_the_gate_for_its_causes_and_a_new_cause_opens_a_new_hold(
    tarn: Fleet, held: Trip, manager: Member, now: datetime
) -> None:
    hold = the_hold(tarn)
    release_hold(
        hold.pk, fleet_id=tarn.pk, by=manager, reason="Shipper agreed in writing.", expected_revision=1, now=now
    )
    assess_trips([held.pk], now=now + MIN)
    answer = readiness(tarn.pk, "T-1")
    assert (answer["verdict"], answer["released"]) == ("blocked", True)
    assert Hold.objects.for_fleet(tarn).count() == 1
    post(tarn, reading(now + 2 * MIN, set_point_c=2.0, fuel_l=1.0), now=now + 2 * MIN)
    assess_trips([held.pk], now=now + 2 * MIN)
    assert list(Hold.objects.for_fleet(tarn).order_by("id").values_list("state", flat=True)) == ["released", "open"]
    assert readiness(tarn.pk, "T-1")["released"] is False


def test_a_release_lapses_an_hour_after_departure(tarn: Fleet, held: Trip, manager: Member, now: datetime) -> None:
    reason = "Shipper agreed in writing."
    hold = release_hold(the_hold(tarn).pk, fleet_id=tarn.pk, by=manager, reason=reason, expected_revision=1, now=now)
    assert hold.release_until == held.depart_at + timedelta(hours=1)


def test_what_a_manager_may_not_accept_is_not_released(tarn: Fleet, held: Trip, manager: Member, now: datetime) -> None:
    hold = the_hold(tarn)
    hold.causes = [cause | {"releasable": False} for cause in hold.causes]
    hold.save()
    with pytest.raises(ReleaseNotAllowed):
        release_hold(hold.pk, fleet_id=tarn.pk, by=manager, reason="Please, we are late.", expected_revision=1, now=now)


def test_changing_the_unit_ends_the_hold_of_the_old_one(
    tarn: Fleet, held: Trip, dispatcher: Member, now: datetime
) -> None:
    make_unit(tarn, "HB-105")
    post(tarn, reading(now, unit="HB-105"), now=now)
    change_trip(tarn, "T-1", {"planned_unit": "HB-105"}, revision=None, by=dispatcher, now=now)
    assess_trips([held.pk], now=now + MIN)
    assert (the_hold(tarn).state, the_hold(tarn).close_reason) == (Hold.State.ENDED, "unit_changed")


def test_cancelling_ends_the_hold(tarn: Fleet, held: Trip, dispatcher: Member, now: datetime) -> None:
    finish_trip(tarn, "T-1", "cancel", revision=None, by=dispatcher, now=now, reason="Load withdrawn")
    assert the_hold(tarn).state == Hold.State.ENDED
