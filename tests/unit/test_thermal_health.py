"""Learning from one unit's readings: what it finds, what it must not find, and that days add up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests import simulated
from thermal.adapter.learning.documents import day_of, document_of_day, document_of_watch, watch_of
from thermal.adapter.learning.proof import learned, plant_of_history, readings_of
from thermal.errors import OutOfRange
from thermal.health.change import Cause
from thermal.health.condition import Condition, Reference, Value, condition_of
from thermal.health.readings import Readings
from thermal.health.spans import flat
from thermal.health.watch import HeatWatch, Level

SOUND, TORN, ROBBED, LOST = range(4)


def test_a_sound_box_is_learned_within_what_is_stated() -> None:
    history = simulated.fleet_of_four()[SOUND]
    days, plant, reference = learned(history, days=simulated.DAYS)
    found = condition_of(days, plant, reference)
    true = float(history.k_w_m2k[0]) / reference.k_w_m2k / (float(history.heat_kw[0]) * 1e3 / plant.heat_w)
    assert found.enough
    assert found.ratio is not None
    assert abs(np.log(found.ratio.mean / true)) < 2.5 * found.ratio.sd_ln
    assert found.change is None


def test_a_torn_box_is_not_taken_for_a_weak_heater() -> None:
    days, plant, reference = learned(simulated.fleet_of_four()[TORN], days=simulated.DAYS)
    change = condition_of(days, plant, reference).change
    assert change is not None
    assert change.cause in (Cause.BOX, Cause.EITHER)


def test_the_order_of_the_days_does_not_matter() -> None:
    days, plant, reference = learned(simulated.fleet_of_four()[SOUND], days=simulated.DAYS)
    assert condition_of(days, plant, reference) == condition_of(days[::-1], plant, reference)


def test_a_stored_day_says_what_a_fresh_one_says() -> None:
    days, plant, reference = learned(simulated.fleet_of_four()[ROBBED], days=simulated.DAYS)
    stored = [day_of(document_of_day(day)) for day in days]
    assert condition_of(stored, plant, reference) == condition_of(days, plant, reference)


def test_fuel_that_was_taken_is_found_and_no_other() -> None:
    history = simulated.fleet_of_four()[ROBBED]
    days, _, _ = learned(history, days=simulated.DAYS)
    (taken,) = [event for day in days for event in day.tank.events if event.kind == "drop"]
    assert taken.litres == pytest.approx(45.0, abs=4.0)
    (change,) = history.changes
    assert taken.after_s - 1800 <= change.at_s <= taken.before_s + 1800


def test_lost_heat_is_found_within_the_hour_and_sound_units_are_left_alone() -> None:
    history = simulated.fleet_of_four()[LOST]
    (lost,) = history.changes
    states = HeatWatch(plant_of_history(history)).run(readings_of(history))
    doubted = [state.at_s for state in states if state.level is not Level.QUIET]
    assert 0 < doubted[0] - lost.at_s < 3600
    for which in (SOUND, TORN, ROBBED):
        other = simulated.fleet_of_four()[which]
        found = HeatWatch(plant_of_history(other)).run(readings_of(other))
        assert all(state.level is Level.QUIET for state in found)


def test_the_watch_goes_on_from_a_stored_state_as_if_it_had_not_stopped() -> None:
    history = simulated.fleet_of_four()[LOST]
    watch, readings = HeatWatch(plant_of_history(history)), readings_of(history)
    whole = watch.run(readings)
    cut = len(readings) // 2
    first = readings.between(-np.inf, readings.at_s[cut])
    kept = watch_of(document_of_watch(watch.run(first)[-1]))
    assert watch.run(readings, kept)[-1] == whole[-1]


def test_a_unit_counts_as_better_than_its_paper_only_by_the_careful_end_of_much_data() -> None:
    paper = Reference(0.5, 0.15, "design")
    base = Condition(
        days=10, hours=90.0, span_k=20.0, enough=True, ratio=None, k=Value(0.40, 0.06), output=None, burn=None,
        full_rise_k=None, rise_share=None, change=None, worse_chance=None, gauge_high_l=None,
    )  # fmt: skip
    better = base.cautious_k(paper)
    assert better is not None
    assert 0.40 < better.mean < 0.5
    assert replace(base, hours=30.0).cautious_k(paper) is None
    assert replace(base, k=Value(0.47, 0.06)).cautious_k(paper) is None
    assert replace(base, k=Value(0.6, 0.06)).cautious_k(paper) == Value(0.6, 0.06)
    assert replace(base, k=Value(0.6, 0.06), enough=False).cautious_k(paper) is None


def test_readings_out_of_order_are_refused() -> None:
    columns = {name: np.zeros(2) for name in Readings.__dataclass_fields__}
    with pytest.raises(OutOfRange):
        Readings(**(columns | {"at_s": np.array([1.0, 1.0])}))


def test_a_run_of_equal_values_is_flat_and_a_missing_one_does_not_break_it() -> None:
    values = np.array([1.0, 2.0, 2.0, np.nan, 2.0, 3.0])
    assert flat(values, run=3).tolist() == [False, True, True, False, True, False]
