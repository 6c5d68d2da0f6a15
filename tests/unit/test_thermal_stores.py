"""Lining and load as lags under the measured air: against step-by-step sums and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests import simulated
from thermal.adapter.learning.proof import plant_of_history
from thermal.health.readings import Readings
from thermal.health.stores import behind_lag, lagged, stores_of


def readings(**columns: list[float]) -> Readings:
    """Readings every 10 minutes of a unit on, shut, set to 5 degC, unless given otherwise."""
    n = len(next(iter(columns.values())))
    default = {name: np.full(n, np.nan) for name in Readings.__dataclass_fields__} | {
        "at_s": np.arange(n) * 600.0,
        "set_point_c": np.full(n, 5.0),
        "ambient_c": np.full(n, -20.0),
        "on": np.ones(n),
        "door": np.zeros(n),
    }
    return Readings(**(default | {name: np.array(column, dtype=float) for name, column in columns.items()}))


@pytest.mark.parametrize("longest", [0.3, 50.0, 5000.0])
def test_a_lag_over_whole_arrays_is_the_lag_step_by_step(longest: float) -> None:
    rng = np.random.default_rng(3)
    steps, push = rng.uniform(0.01, longest, 400), rng.standard_normal(400)
    level, out = 2.0, [2.0]
    for step, more in zip(steps.tolist(), push.tolist(), strict=True):
        level = level * math.exp(-step) + more
        out.append(level)
    assert behind_lag(steps, push, 2.0) == pytest.approx(out, rel=1e-9, abs=1e-12)


def test_a_lag_behind_a_ramp_settles_one_time_constant_behind_it() -> None:
    at_s = np.array([0.0, 300.0, 900.0, 4000.0, 20000.0])
    found = lagged(at_s, at_s / 100.0, 1000.0)
    # y' = (x - y)/tau with x = t/100, y(0) = 0: y = (t - tau + tau e^(-t/tau))/100.
    assert found == pytest.approx((at_s - 1000.0 + 1000.0 * np.exp(-at_s / 1000.0)) / 100.0, abs=1e-9)


def test_a_box_that_stood_cold_is_empty_until_its_doors_open() -> None:
    plant = plant_of_history(simulated.fleet_of_four()[0])
    air = [-15.0] * 4 + [0.0, 5.0, 5.0] + [-10.0, -10.0] + [5.0] * 12
    on = [0.0] * 4 + [1.0] * 3 + [0.0] * 2 + [1.0] * 12
    door = [0.0] * 7 + [1.0] * 2 + [0.0] * 12
    stores = stores_of(readings(return_air_c=air, on=on, door=door), plant)
    assert stores.empty[:7].all()
    assert not stores.empty[8:].any()
    # Nothing is carried while it warms up; open doors chill what is, and it takes that back.
    assert (stores.load_k[:8] == 0).all()
    assert stores.load_k[8] < -0.5
    assert (np.diff(stores.load_k[9:]) > 0).all()


def test_the_lining_rests_between_air_and_ambient_by_its_conductances() -> None:
    plant = plant_of_history(simulated.fleet_of_four()[0])
    lining = stores_of(readings(return_air_c=[5.0] * 200), plant).lining_c[-1]
    # All that the box loses passes the film: UA (T_a - T_amb) = G (T_a - T_l).
    assert plant.film_w_k * (5.0 - lining) == pytest.approx(plant.ua_w_k * 25.0, rel=1e-9)
