"""The heat watch over stored readings: doubt, then certainty, told as heat lost; in pieces as in one go."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from alarms.models import Alarm
from alarms.notices.messages import alarm_kind
from alarms.notices.subjects import concerns_somebody
from fleet.models import Fleet, Unit
from tests import simulated
from thermal.adapter.learning.watching import watch_due
from thermal.adapter.models import UnitLearning

START = datetime(2027, 1, 4, tzinfo=UTC)
LOST = 3
LOST_AT = START + timedelta(seconds=simulated.fleet_of_four()[LOST].changes[0].at_s)


def give(unit: Unit, since: datetime, until: datetime) -> None:
    day = timedelta(days=1)
    simulated.store(
        unit,
        simulated.fleet_of_four()[LOST],
        start=START,
        since_d=(since - START) / day,
        until_d=(until - START) / day,
    )


def unit_of(fleet: Fleet) -> Unit:
    return simulated.make_unit(fleet, simulated.fleet_of_four()[LOST], start=START)


def events(fleet: Fleet) -> list[tuple[str, str, datetime]]:
    rows = Alarm.objects.for_fleet(fleet).order_by("raised_at", "code")
    return [(row.code, str(row.tier), row.raised_at) for row in rows]


def look_in_steps(unit: Unit, *, minutes: int) -> None:
    at, end = LOST_AT - timedelta(hours=2), LOST_AT + timedelta(hours=2)
    while at < end:
        nearer = min(at + timedelta(minutes=minutes), end)
        give(unit, at, nearer)
        watch_due(now=nearer)
        at = nearer


def test_heat_lost_in_silence_is_doubted_and_then_certain(tarn: Fleet) -> None:
    look_in_steps(unit_of(tarn), minutes=5)
    (doubted, attend, doubted_at), *more = events(tarn)
    assert (doubted, attend) == ("heat-doubted", "attend")
    assert timedelta(0) < doubted_at - LOST_AT < timedelta(hours=1)
    if more:  # certain once the air has fallen
        (gone, stop, gone_at), *_ = more
        assert (gone, stop) == ("heat-gone", "stop")
        assert gone_at > doubted_at
        assert Alarm.objects.for_fleet(tarn).get(code="heat-doubted").state == "returned"


def test_the_doubt_is_told_as_heat_lost_although_it_is_of_the_attend_tier(tarn: Fleet) -> None:
    look_in_steps(unit_of(tarn), minutes=5)
    doubted = Alarm.objects.for_fleet(tarn).get(code="heat-doubted")
    assert concerns_somebody(doubted, under_way=True)
    assert alarm_kind(doubted) == "heat_lost"
    assert "Calling for heat for" in doubted.text


def test_looking_often_and_looking_seldom_find_the_same(tarn: Fleet, other: Fleet) -> None:
    often, seldom = unit_of(tarn), unit_of(other)
    look_in_steps(often, minutes=10)
    look_in_steps(seldom, minutes=60)
    kept = UnitLearning.objects.across_fleets()
    assert kept.get(unit=often).watch == kept.get(unit=seldom).watch


def test_readings_late_by_less_than_an_hour_are_taken_in_order(tarn: Fleet, other: Fleet) -> None:
    prompt, late = unit_of(tarn), unit_of(other)
    begin, middle, end = LOST_AT - timedelta(hours=2), LOST_AT + timedelta(minutes=40), LOST_AT + timedelta(hours=1)
    give(prompt, begin, end)
    give(late, begin, LOST_AT)
    give(late, middle, end)
    watch_due(now=end)
    give(late, LOST_AT, middle)
    later = end + timedelta(minutes=30)
    for unit in (prompt, late):
        give(unit, end, later)
    watch_due(now=later)
    kept = UnitLearning.objects.across_fleets()
    assert kept.get(unit=prompt).watch == kept.get(unit=late).watch


def test_old_readings_are_not_watched(tarn: Fleet) -> None:
    give(unit_of(tarn), LOST_AT, LOST_AT + timedelta(hours=2))
    assert watch_due(now=LOST_AT + timedelta(hours=9)) == 0


def test_a_round_is_bounded_and_the_next_one_goes_on(tarn: Fleet, other: Fleet) -> None:
    now = LOST_AT + timedelta(minutes=30)
    for fleet in (tarn, other):
        give(unit_of(fleet), LOST_AT - timedelta(hours=1), now)
    assert [watch_due(now=now, at_most=1) for _ in range(3)] == [1, 1, 0]
