"""The heat watch where sensors are missing or wrong, on small made-up courses of a box."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests import simulated
from thermal.adapter.learning.proof import plant_of_history
from thermal.health.readings import Plant, Readings
from thermal.health.watch import HeatWatch, Level, WatchState

STEP_S, NAN = 300.0, float("nan")


def plant() -> Plant:
    return plant_of_history(simulated.fleet_of_four()[0])


def watched(watch: HeatWatch, air: list[float], **given: float | list[float]) -> list[WatchState]:
    """What the watch says of air every five minutes: set to 5, -20 outside, on and calling, no word of the doors."""
    n = len(air)
    columns = {name: np.full(n, np.nan) for name in Readings.__dataclass_fields__}
    columns |= {"at_s": np.arange(n) * STEP_S, "return_air_c": np.array(air)}
    told = {"ambient_c": -20.0, "set_point_c": 5.0, "running": 1.0, "on": 1.0} | given
    columns |= {name: np.broadcast_to(np.array(value, dtype=float), n) for name, value in told.items()}
    return watch.run(Readings(**columns))


def noisy(air: list[float]) -> list[float]:
    """With the noise of a sensor, which is no stuck one."""
    rng = np.random.default_rng(5)
    return np.round(np.array(air) + 0.2 * rng.standard_normal(len(air)), 2).tolist()


def doubts(states: list[WatchState]) -> bool:
    return any(state.level is not Level.QUIET for state in states)


HELD = [5.0 + 0.8 * (-1) ** i for i in range(24)]
FALLS = [3.7 - 0.05 * i for i in range(15)]


def after_rest(air: list[float], **given: float | list[float]) -> list[WatchState]:
    """What the watch says when a box held at its set point calls for heat and its air then goes as given."""
    calls = [0.0] * len(HELD) + [1.0] * len(air)
    return watched(HeatWatch(plant()), noisy(HELD + air), running=calls, **given)


def test_air_that_falls_to_its_lining_and_stays_there_is_doubted() -> None:
    assert doubts(after_rest(FALLS))


def test_air_that_falls_far_below_its_lining_is_a_door_and_no_loss() -> None:
    assert not doubts(after_rest([-11.0 - 0.05 * i for i in range(20)]))


def test_a_loss_behind_doors_that_shut_again_is_still_found() -> None:
    assert doubts(after_rest([-11.0] * 2 + [-2.0 - 0.05 * i for i in range(20)]))


def test_warm_discharge_air_is_heat_before_its_rise_is_learned() -> None:
    warm = [air + 12.0 + 0.1 * (i % 3) for i, air in enumerate(HELD + FALLS)]
    assert not doubts(after_rest(FALLS, discharge_air_c=warm))


def test_without_an_ambient_sensor_a_loss_is_found_too() -> None:
    assert doubts(after_rest(FALLS, ambient_c=NAN))


def test_an_engine_that_never_stops_owes_all_its_heat_when_it_is_far_too_cold() -> None:
    idles = replace(plant(), low_w=plant().heat_w / 6)
    assert doubts(watched(HeatWatch(idles), noisy([-8.0 - 0.01 * i for i in range(12)])))
    assert not doubts(watched(HeatWatch(idles), noisy([8.0 - 0.05 * i for i in range(12)])))


def test_a_sensor_that_always_reads_low_is_learned_and_no_unit_that_does_not_call() -> None:
    # It starts at 0.5 by its sensor, warms to 2 and cools again, for hours; then it cools on without calling.
    cycle, calls = [0.5, 1.2, 2.0, 1.6, 1.2, 0.8], [1.0, 1.0, 0.0, 0.0, 0.0, 0.0]
    on_and_on = watched(HeatWatch(plant()), noisy(cycle * 8), running=calls * 8)
    assert not any(state.not_called for state in on_and_on)
    dead = [0.5 - 0.4 * i for i in range(16)]
    then = watched(HeatWatch(plant()), noisy(cycle * 8 + dead), running=calls * 8 + [0.0] * 16)
    assert then[-1].not_called
