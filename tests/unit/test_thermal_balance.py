"""The heat balance against what sensors do to it: noise, drift, and offsets of an engine that never stops."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests import simulated
from thermal.adapter.learning.proof import SD_DESIGN, plant_of_history, readings_of
from thermal.health.condition import Condition, Reference, condition_of
from thermal.health.day import AFTER_S, BEFORE_S, DAY_S, learn_day
from thermal.health.heating import heating_of
from thermal.health.insulation import AIR_NOISE_K, _noise_mj2
from thermal.health.readings import Readings
from thermal.health.stores import lagged


def condition_with(readings: Readings) -> Condition:
    history = simulated.fleet_of_four()[0]
    plant = plant_of_history(history)
    days = [
        learn_day(readings.between(d * DAY_S - BEFORE_S, (d + 1) * DAY_S + AFTER_S), plant, number=d, start_s=d * DAY_S)
        for d in range(simulated.DAYS)
    ]
    return condition_of(days, plant, Reference(plant.k_w_m2k, SD_DESIGN, "design"))


@pytest.mark.parametrize("step_s", [60.0, 300.0, 3600.0])
def test_the_noise_of_the_lining_is_that_of_its_lag(step_s: float) -> None:
    plant = plant_of_history(simulated.fleet_of_four()[0])
    at_s = np.arange(40_000) * step_s
    noise = AIR_NOISE_K * np.random.default_rng(8).standard_normal(len(at_s))
    lining = lagged(at_s, noise, plant.lining_j_k / (plant.film_w_k + plant.ua_w_k))
    stated = _noise_mj2(at_s[:10], plant)
    assert np.var(lining[1000:]) * (plant.lining_j_k / 1e6) ** 2 == pytest.approx(stated, rel=0.05)


def test_an_ambient_sensor_that_runs_away_hardly_moves_the_balance() -> None:
    readings = readings_of(simulated.fleet_of_four()[0])
    sound = condition_with(readings)
    away = condition_with(replace(readings, ambient_c=readings.ambient_c + 0.4 * readings.at_s / DAY_S))
    assert sound.ratio is not None
    assert away.ratio is not None
    # 4.8 K at the end, 2.4 K on average, of a difference of some 20 K would be an error of a tenth.
    assert away.span_k < sound.span_k - 2.0
    assert away.ratio.mean == pytest.approx(sound.ratio.mean, rel=0.05)


def test_an_offset_of_the_discharge_sensor_is_no_heat() -> None:
    history = simulated.fleet_of_four()[0]
    plant = replace(plant_of_history(history), low_w=800.0)
    readings = readings_of(history)
    assert np.isfinite(readings.discharge_air_c).any()
    off_by_one = replace(readings, discharge_air_c=readings.discharge_air_c + 0.5)
    true, shown = heating_of(readings, plant, full_rise_k=17.0), heating_of(off_by_one, plant, full_rise_k=17.5)
    assert shown.heat_j[-1] == pytest.approx(true.heat_j[-1], rel=0.01)
