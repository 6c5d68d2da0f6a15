"""The relay: hysteresis, minimum times, start-up run, low fire, coolant lag."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.simulator.thermostat import Thermostat
from tests.unit.simulator.cast import heater

ON, OFF = np.array([True]), np.array([False])
SET = np.array([5.0])


def decide(relay: Thermostat, now_s: float, air: float, power: np.ndarray = ON) -> bool:
    """Let the relay decide and say whether it fires."""
    relay.decide(now_s=now_s, air_c=np.array([air]), set_point_c=SET, power=power)
    return bool(relay.firing[0])


def relay_of(**changes: float) -> Thermostat:
    """Return a relay with a minute's step and no start-up run unless asked for."""
    return Thermostat(heater(**{"start_run_min": 0.0, **changes}), step_s=60.0)


def test_it_fires_below_the_band_and_stops_above_it() -> None:
    relay = relay_of(min_on_min=0.0, min_off_min=0.0)
    assert [decide(relay, 60.0 * i, air) for i, air in enumerate([4.5, 3.9, 5.0, 5.9, 6.1, 4.1])] == [
        False, True, True, True, False, False,
    ]  # fmt: skip


def test_minimum_times_are_kept() -> None:
    relay = relay_of(min_on_min=10.0, min_off_min=5.0)
    assert decide(relay, 0.0, 3.0)
    assert all(decide(relay, 60.0 * minute, 8.0) for minute in range(1, 10))
    assert not decide(relay, 600.0, 8.0)
    assert not any(decide(relay, 600.0 + 60.0 * minute, 2.0) for minute in range(1, 5))
    assert decide(relay, 900.0, 2.0)


def test_a_unit_switched_on_does_its_start_up_run_though_no_heat_is_needed() -> None:
    relay = relay_of(start_run_min=3.0, min_on_min=0.0)
    relay.powered[:] = False
    assert [decide(relay, 60.0 * minute, 12.0) for minute in range(5)] == [True, True, True, False, False]


def test_without_power_nothing_fires_and_a_repair_starts_at_once() -> None:
    relay = relay_of(min_off_min=30.0)
    assert decide(relay, 0.0, 3.0)
    assert not decide(relay, 60.0, 3.0, OFF)
    assert decide(relay, 120.0, 3.0)


def test_an_engine_with_a_low_fire_runs_on_between_firings() -> None:
    relay = relay_of(output_low_kw=1.5, burn_low_l_h=0.2)
    assert not decide(relay, 0.0, 6.5)
    assert relay.running(power=ON)[0]
    assert not relay.running(power=OFF)[0]
    for _ in range(60):
        heat = relay.deliver(power=ON)
    assert heat[0] == pytest.approx(1500.0, rel=1e-3)


def test_heat_follows_the_relay_with_the_lag_of_the_coolant() -> None:
    relay = relay_of(coolant_lag_min=4.0)
    decide(relay, 0.0, 3.0)
    given = sum(float(relay.deliver(power=ON)[0]) * 60.0 for _ in range(4))
    assert relay.heat_w[0] == pytest.approx(7200.0 * (1.0 - np.exp(-1.0)), rel=1e-9)
    # The integral of 1 - exp(-t/tau) over one time constant is tau/e.
    assert given == pytest.approx(7200.0 * 240.0 * np.exp(-1.0), rel=1e-9)
