"""Learning's arithmetic against numbers that neither our code nor our notes produced."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.linalg import lstsq

from thermal.adapter.learning.report import poisson_interval
from thermal.health.cusum import first_shift, run_length_siegmund
from thermal.health.insulation import _without

MONTGOMERY = {0.0: 465.0, 0.5: 38.0, 1.0: 10.4, 1.5: 5.75, 2.0: 4.01}
"""ARL of the two-sided tabular CUSUM with k = 1/2, h = 5, by shift in sd: Montgomery, Introduction to Statistical
Quality Control, table "ARL performance of the tabular cusum" (Hawkins' values; from memory)."""


@pytest.mark.parametrize("shift", MONTGOMERY)
def test_the_cusum_runs_as_long_as_the_published_table_says(shift: float) -> None:
    rng = np.random.default_rng(465)
    runs = 250 if shift == 0 else 1500
    lengths = []
    for _ in range(runs):
        found = first_shift((shift + rng.standard_normal(6000 if shift == 0 else 600)).tolist())
        assert found is not None
        lengths.append(found.found + 1)
    error = np.std(lengths) / np.sqrt(runs)
    assert np.mean(lengths) == pytest.approx(MONTGOMERY[shift], abs=4 * error + 0.02 * MONTGOMERY[shift])


def test_siegmund_s_approximation_gives_the_printed_values() -> None:
    """Montgomery prints, for k 1/2, h 5: ARL0+ 938.2, hence 469.1 for both sides; shift of 1 sd: 10.34."""
    one_sided = run_length_siegmund(shift=0.0)
    assert one_sided == pytest.approx(938.2, abs=0.5)
    assert one_sided / 2 == pytest.approx(469.1, abs=0.3)
    assert run_length_siegmund(shift=1.0) == pytest.approx(10.34, abs=0.05)


def test_integrating_nuisances_out_is_the_joint_least_squares() -> None:
    """scipy's lstsq on all columns at once, priors as rows of their own."""
    rng = np.random.default_rng(7)
    x, z = rng.standard_normal((40, 3)), rng.standard_normal((40, 4))
    y = x @ [1.0, -2.0, 0.5] + z @ [3.0, 1.0, -1.0, 0.2] + 0.1 * rng.standard_normal(40)
    weight, prior = rng.uniform(0.5, 2.0, 40), np.diag([0.5, 1.0, 2.0, 4.0])
    info, vector, left = _without(x, z, y, weight, prior)
    root = np.sqrt(weight)[:, None]
    rows = np.vstack([np.hstack([x, z]) * root, np.hstack([np.zeros((4, 3)), np.sqrt(prior)])])
    joint = lstsq(rows, np.concatenate([y * root[:, 0], np.zeros(4)]))[0]
    assert np.linalg.solve(info, vector) == pytest.approx(joint[:3], rel=1e-10)
    covariance = np.linalg.inv(rows.T @ rows)[:3, :3]
    assert np.linalg.inv(info) == pytest.approx(covariance, rel=1e-9)
    # What is left of the weight: the trace of the residual maker of z, by an explicit projection.
    scaled = np.vstack([z * root, np.sqrt(prior)])
    hat = (scaled @ np.linalg.pinv(scaled))[:40, :40]
    assert left == pytest.approx(float(np.sum(weight * (1 - np.diag(hat)))), rel=1e-9)


@pytest.mark.parametrize("count", [0, 2, 5, 20])
def test_the_interval_of_a_count_is_the_exact_one(count: int) -> None:
    """Garwood 1936: chi-square quantiles, here scipy's."""
    low, high = poisson_interval(count)
    exact_low = stats.chi2.ppf(0.025, 2 * count) / 2 if count else 0.0
    exact_high = stats.chi2.ppf(0.975, 2 * (count + 1)) / 2
    assert high == pytest.approx(exact_high, rel=0.02)
    assert low == pytest.approx(exact_low, rel=0.05, abs=0.02)
