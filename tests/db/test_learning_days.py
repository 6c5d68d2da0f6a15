"""Learning from stored days: pieces equal the whole, late readings count, tests and repairs void what was."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from alarms.models import Alarm
from fleet.models import Fleet, Reading, Unit, UnitState
from fleet.units.state import record_facts
from tests import simulated
from thermal.adapter.learning.build import MENDED_FACT
from thermal.adapter.learning.days import LOOK_AT_FACT, learn_due, learn_unit
from thermal.adapter.models import LearnedDay, UnitLearning

START = datetime(2027, 1, 4, tzinfo=UTC)
END = START + timedelta(days=simulated.DAYS)
SOUND, TORN, ROBBED = 0, 1, 2


def unit_of(fleet: Fleet, which: int) -> Unit:
    return simulated.make_unit(fleet, simulated.fleet_of_four()[which], start=START)


def give(unit: Unit, which: int, **days: float) -> None:
    simulated.store(unit, simulated.fleet_of_four()[which], start=START, **days)


def known(unit: Unit) -> dict[str, Any]:
    return dict(UnitLearning.objects.across_fleets().get(unit=unit).condition)


def facts(unit: Unit) -> dict[str, Any]:
    return {name: entry[0] for name, entry in UnitState.objects.across_fleets().get(unit=unit).facts.items()}


def days_of(unit: Unit) -> dict[Any, Any]:
    return dict(LearnedDay.objects.across_fleets().filter(unit=unit).values_list("day", "told"))


def same(a: Any, b: Any) -> bool:
    if isinstance(a, dict):
        return a.keys() == b.keys() and all(same(a[key], b[key]) for key in a)
    if isinstance(a, list):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    return bool(a == pytest.approx(b, rel=1e-9, abs=1e-9)) if isinstance(a, float) else bool(a == b)


def test_learning_in_pieces_equals_learning_in_one_go(tarn: Fleet, other: Fleet) -> None:
    whole, pieces = unit_of(tarn, SOUND), unit_of(other, SOUND)
    give(whole, SOUND)
    learn_unit(whole.pk, now=END)
    for until in (0.4, 3.1, 3.2, 7.75, 12.0):
        before = UnitState.objects.across_fleets().get(unit=pieces).newest_at
        since = 0.0 if before is None else (before - START) / timedelta(days=1) + 1e-9
        give(pieces, SOUND, since_d=since, until_d=until)
        learn_unit(pieces.pk, now=START + timedelta(days=until))
    assert len(days_of(whole)) >= simulated.DAYS - 1
    assert same(days_of(whole), days_of(pieces))
    learn_unit(pieces.pk, now=END)
    assert same(known(whole), known(pieces))


def test_readings_that_come_late_are_taken_in(tarn: Fleet, other: Fleet) -> None:
    prompt, late = unit_of(tarn, SOUND), unit_of(other, SOUND)
    give(prompt, SOUND)
    give(late, SOUND, until_d=4.0)
    give(late, SOUND, since_d=5.5)
    learn_unit(late.pk, now=END)
    give(late, SOUND, since_d=4.0, until_d=5.5)
    for unit in (prompt, late):
        learn_unit(unit.pk, now=END)
    assert same(days_of(prompt), days_of(late))


def test_learning_twice_changes_nothing(tarn: Fleet) -> None:
    unit = unit_of(tarn, TORN)
    give(unit, TORN)
    learn_unit(unit.pk, now=END)
    version, alarms = UnitState.objects.across_fleets().get(unit=unit).version, Alarm.objects.across_fleets().count()
    learn_unit(unit.pk, now=END + timedelta(hours=1))
    assert UnitState.objects.across_fleets().get(unit=unit).version == version
    assert Alarm.objects.across_fleets().count() == alarms


def test_a_torn_box_is_found_told_and_put_before_the_inspector(tarn: Fleet) -> None:
    unit = unit_of(tarn, TORN)
    give(unit, TORN)
    learn_unit(unit.pk, now=END)
    change = known(unit)["change"]
    assert change["factor"] == pytest.approx(1.6, abs=0.25)
    began = datetime.fromtimestamp(change["since"] * 86_400, tz=UTC)
    assert abs(began - START - timedelta(days=simulated.STEP_DAY)) <= timedelta(days=1)
    alarm = Alarm.objects.across_fleets().get(code__in=("insulation-worse", "heat-balance-worse"))
    assert alarm.tier == "watch"
    assert "times what was known of it" in alarm.text
    assert {"doors", "insulation"} <= {entry["item"] for entry in facts(unit)[LOOK_AT_FACT]}
    assert facts(unit)["thermal.k_w_m2k"]["k_w_m2k"] > 0.5


def test_a_signed_repair_begins_learning_anew(tarn: Fleet) -> None:
    unit = unit_of(tarn, TORN)
    give(unit, TORN)
    learn_unit(unit.pk, now=END)
    record_facts({unit.pk: {MENDED_FACT: "doors"}}, at=END - timedelta(days=1), source="inspections")
    learn_unit(unit.pk, now=END + timedelta(hours=2))
    assert known(unit)["days"] <= 2
    assert facts(unit)["thermal.k_w_m2k"] is None
    assert not facts(unit)[LOOK_AT_FACT]
    alarm = Alarm.objects.across_fleets().get(code__in=("insulation-worse", "heat-balance-worse"))
    assert alarm.state == "returned"


def test_a_dated_test_makes_older_readings_void_and_outweighs_few_new_ones(tarn: Fleet) -> None:
    unit = unit_of(tarn, TORN)
    give(unit, TORN)
    learn_unit(unit.pk, now=END)
    before = known(unit)
    tested_on = (END - timedelta(days=4)).date()
    Unit.objects.across_fleets().filter(pk=unit.pk).update(k_test_w_m2k=0.45, k_tested_on=tested_on)
    learn_unit(unit.pk, now=END + timedelta(hours=2))
    after = known(unit)
    assert (after["reference"], before["reference"]) == ("tested", "design")
    assert after["days"] < before["days"]
    assert abs(after["k_w_m2k"]["value"] - 0.45) < abs(before["k_w_m2k"]["value"] - 0.45)


def test_fuel_that_no_run_explains_is_told_once_and_is_over_after_half_a_day(tarn: Fleet) -> None:
    unit = unit_of(tarn, ROBBED)
    give(unit, ROBBED, until_d=3.25)
    now = START + timedelta(days=3.25)
    learn_unit(unit.pk, now=now)
    alarm = Alarm.objects.across_fleets().get(code="fuel-missing")
    assert (alarm.tier, alarm.state) == ("attend", "active")
    assert abs(alarm.raised_at - START - timedelta(days=3)) < timedelta(hours=2)
    give(unit, ROBBED, since_d=3.25, until_d=3.8)
    learn_unit(unit.pk, now=START + timedelta(days=3.8))
    assert [a.state for a in Alarm.objects.across_fleets().filter(code="fuel-missing")] == ["returned"]


def test_a_round_takes_units_that_wait_longest_and_no_more_than_it_may(tarn: Fleet, other: Fleet) -> None:
    for fleet in (tarn, other):
        give(unit_of(fleet, SOUND), SOUND, until_d=1.0)
    now = START + timedelta(days=1)
    assert [learn_due(now=now, at_most=1) for _ in range(3)] == [1, 1, 0]
    assert UnitLearning.objects.across_fleets().count() == 2


def test_a_unit_without_enough_design_is_left_alone(tarn: Fleet) -> None:
    unit = unit_of(tarn, SOUND)
    unit.model.heater_output_kw = None
    unit.model.save()
    give(unit, SOUND, until_d=2.0)
    assert learn_unit(unit.pk, now=END) is None
    assert not LearnedDay.objects.across_fleets().exists()
    assert learn_due(now=END) == 0


def test_a_second_source_with_sensors_of_its_own_takes_no_part(tarn: Fleet, other: Fleet) -> None:
    alone, both = unit_of(tarn, SOUND), unit_of(other, SOUND)
    give(alone, SOUND, until_d=3.0)
    give(both, SOUND, until_d=3.0)
    tracker = simulated.Source.objects.create(fleet=other, name="tracker/1")
    Reading.objects.bulk_create(
        Reading(unit=both, at=START + timedelta(minutes=7 * i), source=tracker, content_hash=i, return_air_c=30.0)
        for i in range(400)
    )
    for unit in (alone, both):
        learn_unit(unit.pk, now=START + timedelta(days=3))
    assert same(days_of(alone), days_of(both))
