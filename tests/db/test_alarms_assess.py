"""What an assessment does to a unit's alarms: our own rules, the quiet after a return, the time left."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from alarms.models import Alarm, FaultEvent, Tier
from alarms.services.acts import AlarmStillReported, sign_off, void
from fleet.models import Fleet, Hold, Member, Role, Trip, UnitState
from fleet.readiness.service import assess_trips
from tests import factories as f
from tests.db.conftest import plan, post

MINUTE = timedelta(minutes=1)


def alarm_of(code: str) -> Alarm | None:
    return Alarm.objects.across_fleets().filter(code=code).order_by("-id").first()


def found(code: str) -> Alarm:
    alarm = alarm_of(code)
    assert alarm is not None, f"no alarm {code}: {list(Alarm.objects.across_fleets().values_list('code', flat=True))}"
    return alarm


def state_version() -> int:
    return int(UnitState.objects.across_fleets().get().version)


def fact(name: str) -> Any:
    return UnitState.objects.across_fleets().get().facts.get(name, [None])[0]


@pytest.fixture
def under_way(warm_trip: Trip, now: datetime) -> Trip:
    """T-1 left half an hour ago with HB-104."""
    start = now - 30 * MINUTE
    Trip.objects.across_fleets().filter(pk=warm_trip.pk).update(
        state=Trip.State.UNDER_WAY, assigned_unit=warm_trip.planned_unit_id, departed_at=start,
        loading_at=start - 60 * MINUTE, depart_at=start,
    )  # fmt: skip
    return Trip.objects.across_fleets().get(pk=warm_trip.pk)


def cold(at: datetime, return_c: float, **more: Any) -> dict[str, Any]:
    return f.reading(at, **({"return_air_c": return_c, "discharge_air_c": return_c + 0.2, "cargo_c": 6.5} | more))


def test_heat_lost_under_way_is_a_stop_alarm_with_the_time_that_is_left(
    under_way: Trip, tarn: Fleet, now: datetime
) -> None:
    """A load of 400 kg cools fast; 18 t would reach the market before it freezes, and then nothing is said."""
    later = now + 12 * MINUTE
    loads = [under_way.loads[0] | {"mass_kg": 400.0}]
    Trip.objects.across_fleets().filter(pk=under_way.pk).update(loads=loads)
    post(tarn, cold(later - 11 * MINUTE, 3.2), cold(later - MINUTE, 2.4), now=later)
    (answer,) = assess_trips([under_way.pk], now=later)
    alarm = found("heat-lost")
    assert (alarm.tier, alarm.state, alarm.scheme, alarm.raised_at) == (Tier.STOP, "active", "derived", later)
    forecast = answer.extras["forecast"]
    assert alarm.damage_after_h == forecast["damage_after_now_h"]
    assert alarm.damage_at is not None
    assert alarm.damage_limit_c == -0.6
    assert fact("alarms.open")[0]["code"] == "heat-lost"
    # The next answer reads it, and re-states the time left.
    (answer,) = assess_trips([under_way.pk], now=later + 5 * MINUTE)
    block = next(finding for finding in answer.findings if finding.check == "alarms.stop_tier")
    assert (block.outcome, block.subjects, block.releasable) == ("block", (str(alarm.pk),), False)
    assert found("heat-lost").damage_after_h == answer.extras["forecast"]["damage_after_now_h"]


def test_heat_that_is_back_returns_the_alarm_and_only_a_signature_closes_it(
    under_way: Trip, tarn: Fleet, now: datetime
) -> None:
    later = now + 12 * MINUTE
    post(tarn, cold(later - 11 * MINUTE, 3.2), cold(later - MINUTE, 2.4), now=later)
    assess_trips([under_way.pk], now=later)
    post(tarn, f.reading(later + 5 * MINUTE, return_air_c=3.0), now=later + 5 * MINUTE)
    assess_trips([under_way.pk], now=later + 6 * MINUTE)
    assert found("heat-lost").state == "returned"
    post(tarn, f.reading(later + 90 * MINUTE), now=later + 90 * MINUTE)
    assess_trips([under_way.pk], now=later + 91 * MINUTE)
    assert found("heat-lost").state == "returned"


def test_an_assessment_that_changes_nothing_leaves_the_unit_s_version_alone(
    under_way: Trip, tarn: Fleet, now: datetime
) -> None:
    """Otherwise each answer would make itself stale, and the worker would never rest."""
    later = now + 12 * MINUTE
    post(tarn, cold(later - 11 * MINUTE, 3.2), cold(later - MINUTE, 2.4), now=later)
    assess_trips([under_way.pk], now=later)
    before = state_version()
    for minute in range(3):
        assess_trips([under_way.pk], now=later + minute * MINUTE)
    assert state_version() == before
    assert FaultEvent.objects.across_fleets().count() == 1
    due_at = Trip.objects.across_fleets().get(pk=under_way.pk).assess_due_at
    assert due_at is not None
    assert due_at > later + 2 * MINUTE


def test_silence_under_way_raises_an_alarm_by_itself_and_the_next_reading_returns_it(
    under_way: Trip, tarn: Fleet, now: datetime
) -> None:
    later = now + 119 * MINUTE
    assess_trips([under_way.pk], now=later)
    assert alarm_of("data-silent") is None
    due_at = Trip.objects.across_fleets().get(pk=under_way.pk).assess_due_at
    assert due_at is not None
    assert due_at <= now + 120 * MINUTE + timedelta(seconds=1)
    assess_trips([under_way.pk], now=now + 121 * MINUTE)
    assert found("data-silent").tier == Tier.ATTEND
    post(tarn, f.reading(now + 130 * MINUTE), now=now + 130 * MINUTE)
    assess_trips([under_way.pk], now=now + 131 * MINUTE)
    assert found("data-silent").state == "returned"


def test_a_returned_attend_alarm_closes_after_thirty_quiet_minutes_of_data_and_not_of_silence(
    warm_trip: Trip, tarn: Fleet, now: datetime
) -> None:
    raised, returned = f.fault(now - 9 * MINUTE, "fan-slow"), f.fault(now - 8 * MINUTE, "fan-slow", state="cleared")
    post(tarn, raised, returned, now=now)
    assess_trips([warm_trip.pk], now=now + 60 * MINUTE)
    assert found("fan-slow").state == "returned", "nothing was heard since: silence is not quiet"
    post(tarn, f.reading(now + 21 * MINUTE), now=now + 60 * MINUTE)
    assess_trips([warm_trip.pk], now=now + 61 * MINUTE)
    assert found("fan-slow").state == "returned"
    post(tarn, f.reading(now + 22 * MINUTE), now=now + 62 * MINUTE)
    assess_trips([warm_trip.pk], now=now + 63 * MINUTE)
    closed = found("fan-slow")
    assert (closed.state, closed.closed_at, closed.signed_by) == ("closed", now + 22 * MINUTE, None)
    assert fact("alarms.open") == []


def test_a_fault_that_comes_back_after_the_quiet_links_the_record_before(
    warm_trip: Trip, tarn: Fleet, now: datetime
) -> None:
    post(tarn, f.fault(now - 50 * MINUTE, "fan-slow"), f.fault(now - 49 * MINUTE, "fan-slow", state="cleared"), now=now)
    assess_trips([warm_trip.pk], now=now)
    first = found("fan-slow")
    post(tarn, f.fault(now + MINUTE, "fan-slow"), now=now + MINUTE)
    second = found("fan-slow")
    assert (first.state, second.previous_id, second.repeat) == ("closed", first.pk, 2)


def test_a_unit_is_judged_by_the_trip_it_is_on_and_not_by_each_of_its_trips_in_turn(
    warm_trip: Trip, tarn: Fleet, dispatcher: Member, now: datetime
) -> None:
    """Two planned trips want different set points, both changed: only the next departure's counts."""
    later_trip = plan(tarn, dispatcher, now + timedelta(days=2), reference="T-2")
    changed_at = now - 60 * MINUTE
    Trip.objects.across_fleets().update(set_point_changed_at=changed_at)
    loads = later_trip.loads
    loads[0]["set_point_c"] = 12.0
    Trip.objects.across_fleets().filter(pk=later_trip.pk).update(loads=loads)
    assess_trips([warm_trip.pk, later_trip.pk], now=now)
    assert alarm_of("set-point-not-taken") is None
    Trip.objects.across_fleets().filter(pk=warm_trip.pk).update(state=Trip.State.CANCELLED)
    assess_trips([later_trip.pk], now=now)
    assert found("set-point-not-taken").state == "active"


def test_a_unit_that_moves_while_its_trip_is_held_is_seen_by_its_speed(
    warm_trip: Trip, tarn: Fleet, now: datetime
) -> None:
    post(tarn, f.fault(now, "x") | {"data": {"state": "raised", "spn": 110, "fmi": 0}}, now=now)
    assess_trips([warm_trip.pk], now=now)
    assert Hold.objects.across_fleets().get().state == "open"
    assert alarm_of("left-while-held") is None
    post(tarn, f.reading(now + 5 * MINUTE, speed_km_h=40.0), now=now + 5 * MINUTE)
    assess_trips([warm_trip.pk], now=now + 6 * MINUTE)
    assert found("left-while-held").state == "active"
    post(tarn, f.reading(now + 9 * MINUTE, speed_km_h=0.0), now=now + 9 * MINUTE)
    assess_trips([warm_trip.pk], now=now + 10 * MINUTE)
    assert found("left-while-held").state == "active", "it left, standing still elsewhere does not change that"


def test_a_unit_that_moves_while_its_trip_is_held_is_seen_by_its_place_which_is_kept_no_longer_than_the_hold(
    warm_trip: Trip, tarn: Fleet, now: datetime
) -> None:
    here, there = {"latitude": 61.49871, "longitude": 23.76123}, {"latitude": 61.6, "longitude": 23.76123}
    post(tarn, f.fault(now, "x") | {"data": {"state": "raised", "spn": 110, "fmi": 0}}, now=now)
    post(tarn, f.reading(now, id_="p1", source="gps", **here), now=now)
    assess_trips([warm_trip.pk], now=now)
    assert fact("alarms.held_place")["place"] == [61.5, 23.76]
    post(tarn, f.reading(now + 5 * MINUTE, source="gps", **there), now=now + 5 * MINUTE)
    assess_trips([warm_trip.pk], now=now + 6 * MINUTE)
    assert found("left-while-held").state == "active"
    Hold.objects.across_fleets().update(state="released", release_until=now + timedelta(hours=9))
    assess_trips([warm_trip.pk], now=now + 7 * MINUTE)
    assert fact("alarms.held_place") is None
    assert found("left-while-held").state == "returned"


def test_a_derived_alarm_of_a_unit_without_a_trip_can_be_signed_off_because_nothing_judges_it_any_more(
    under_way: Trip, tarn: Fleet, now: datetime
) -> None:
    by = f.make_member(tarn, Role.INSPECTOR)
    later = now + 12 * MINUTE
    post(tarn, cold(later - 11 * MINUTE, 3.2), cold(later - MINUTE, 2.4), now=later)
    assess_trips([under_way.pk], now=later)
    act = {"fleet": tarn, "by": by, "work_done": "Fuel filter changed.", "revision": None}
    with pytest.raises(AlarmStillReported):
        sign_off(found("heat-lost").pk, now=later + MINUTE, **act)  # type: ignore[arg-type]
    Trip.objects.across_fleets().update(state=Trip.State.DELIVERED)
    sign_off(found("heat-lost").pk, now=later + 2 * MINUTE, **act)  # type: ignore[arg-type]
    assert [alarm.state for alarm in Alarm.objects.across_fleets().filter(code="heat-lost")] == ["closed"]


def test_a_voided_finding_of_our_own_is_silent_while_its_condition_lasts_and_heard_when_it_comes_anew(
    under_way: Trip, tarn: Fleet, manager: Member, now: datetime
) -> None:
    later = now + 121 * MINUTE
    assess_trips([under_way.pk], now=later)
    reason = "The gateway was taken off for repair."
    void(found("data-silent").pk, fleet=tarn, by=manager, reason=reason, revision=None, now=later + MINUTE)
    assess_trips([under_way.pk], now=later + 2 * MINUTE)
    assert [alarm.state for alarm in Alarm.objects.across_fleets()] == ["voided"]
    post(tarn, f.reading(later + 3 * MINUTE), now=later + 3 * MINUTE)
    assess_trips([under_way.pk], now=later + 4 * MINUTE)
    assess_trips([under_way.pk], now=later + 5 * MINUTE)
    assert FaultEvent.objects.across_fleets().count() == 2
    assess_trips([under_way.pk], now=later + 124 * MINUTE)
    assert [alarm.state for alarm in Alarm.objects.across_fleets().order_by("id")] == ["voided", "active"]


def test_a_changed_trip_is_not_judged_by_an_answer_about_what_it_was(
    under_way: Trip, tarn: Fleet, now: datetime
) -> None:
    from alarms.services.assessing import assessed
    from fleet.readiness.assess import assess
    from fleet.readiness.selectors import facts_of_trips, trips_with_units

    later = now + 12 * MINUTE
    post(tarn, cold(later - 11 * MINUTE, 3.2), cold(later - MINUTE, 2.4), now=later)
    (trip,) = trips_with_units([under_way.pk])
    (answer,) = assess(facts_of_trips([trip]), now=later)
    trip.version += 1
    assessed([(trip, answer)], later)
    assert alarm_of("heat-lost") is None
