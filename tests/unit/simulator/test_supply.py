"""Fuel, breakdowns and help: the statistics of what is drawn, and what a dry tank means."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.simulator.cases import parse_case, simulate_worlds
from fleet.simulator.supply import Help, Supply
from tests.unit.simulator.cast import heater, request

N = 20_000


def supply_of(n: int, *, rate: float, fuel: float = np.inf, median_h: float = 1e-6) -> Supply:
    """Return n equal supplies."""
    aid = Help(np.full(n, median_h), np.full(n, np.log(1.8)))
    rng = np.random.default_rng(5)
    return Supply(heater(n), fuel_l=np.full(n, fuel), rate_per_h=np.full(n, rate), aid=aid, rng=rng)


def run(supply: Supply, hours: int) -> None:
    """Let all engines fire for some hours, in steps of six minutes."""
    every = np.ones(len(supply.fuel_l), dtype=np.bool_)
    for step in range(hours * 10):
        supply.run(now_s=360.0 * step, step_s=360.0, running=every, firing=every)


def test_breakdowns_are_poisson_in_engine_hours() -> None:
    supply = supply_of(N, rate=1 / 50)
    run(supply, 60)
    assert supply.engine_h == pytest.approx(np.full(N, 60.0))
    mean = 60.0 / 50.0
    # Four standard errors of the mean, and of the variance of a Poisson count.
    assert supply.breakdowns.mean() == pytest.approx(mean, abs=4 * np.sqrt(mean / N))
    spread = np.sqrt((mean + 2 * mean**2) / N)
    assert supply.breakdowns.var() == pytest.approx(mean, abs=4 * spread)
    assert np.mean(supply.breakdowns == 0) == pytest.approx(np.exp(-mean), abs=4 * np.sqrt(0.21 / N))


def test_no_engine_hours_no_breakdowns() -> None:
    supply = supply_of(1000, rate=1.0)
    still = np.zeros(1000, dtype=np.bool_)
    for step in range(100):
        supply.run(now_s=360.0 * step, step_s=360.0, running=still, firing=still)
    assert supply.breakdowns.sum() == 0
    assert supply.engine_h.sum() == 0.0


def test_worlds_mix_the_rate_as_gamma_poisson_does() -> None:
    """The count over H engine hours has mean a H/b and variance a H/b (1 + H/b)."""
    risk = {"failures": 2.0, "engine_h": 100.0, "help_median_h": 0.05, "help_gsd": 1.0}
    body = request(24, -25.0, risk=risk, heater={"burn_low_l_h": 0.1, "tank_l": 1000.0}, fuel_l=1000.0)
    truth = simulate_worlds(parse_case(body), n=4000, seed=3, step_s=120.0)
    hours = float(truth.engine_h.mean())
    mean = 2.0 * hours / 100.0
    variance = mean * (1.0 + hours / 100.0)
    assert truth.breakdowns.mean() == pytest.approx(mean, abs=4 * np.sqrt(variance / 4000))
    assert truth.breakdowns.var() == pytest.approx(variance, rel=0.15)


def test_help_comes_after_a_lognormal_time() -> None:
    aid = Help(np.full(N, 4.0), np.full(N, np.log(1.8)))
    hours = aid.draw_s(np.arange(N), np.random.default_rng(1)) / 3600.0
    assert np.median(hours) == pytest.approx(4.0, rel=0.02)
    assert np.log(hours).std() == pytest.approx(np.log(1.8), rel=0.02)


def test_a_dry_tank_waits_for_help_even_past_a_fill() -> None:
    supply = supply_of(1, rate=0.0, fuel=1.1, median_h=5.0)
    supply.aid = Help(np.array([5.0]), np.array([0.0]))
    run(supply, 2)
    assert supply.fuel_l[0] == 0.0
    assert supply.used_l[0] == pytest.approx(1.1)
    assert supply.dry_at_s[0] == pytest.approx(3600.0, abs=361.0)
    supply.refill(np.array([True]))
    assert not supply.works(2 * 3600.0)[0]
    assert supply.works(6.2 * 3600.0)[0]


def test_help_brings_fuel() -> None:
    supply = supply_of(1, rate=0.0, fuel=0.5, median_h=5.0)
    supply.aid = Help(np.array([5.0]), np.array([0.0]))
    run(supply, 1)
    assert supply.works(7 * 3600.0)[0]
    assert supply.fuel_l[0] == 190.0


def test_a_tank_that_is_empty_at_departure_is_dry_from_the_start() -> None:
    supply = supply_of(3, rate=0.0, fuel=0.0, median_h=5.0)
    assert list(supply.dry_at_s) == [0.0, 0.0, 0.0]
    assert not supply.works(60.0).any()
