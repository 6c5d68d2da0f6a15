"""The score: the chance in a hundred that the load arrives undamaged, with its standard error and its causes.

Cold, hot and weather are sampled over the fixed worlds; when the heater fails, when help comes, what the gauge hides
and what the burner really takes are integrated in closed form inside each world.
"""

from typing import Final, NamedTuple

import numpy as np

from thermal.columns import Columns, columns_of
from thermal.forecast import tail_scale
from thermal.lattice import DIMENSIONS, FULL, USUAL, normals
from thermal.normal import chi2_quantile, normal_cdf
from thermal.own_risk import OwnRisk
from thermal.params import Load, Risk, Trip, Unit
from thermal.ranges import Array
from thermal.version import VERSION
from thermal.worlds import Plan, Worlds, plan_of, run_worlds

__all__ = ["SE_GOAL", "Causes", "Score", "assess", "score_of"]

SE_GOAL: Final = 0.5
# Error of the balanced worlds relative to as many independent ones, measured over random hard trips (thermal-method):
# they gain on a smooth loss; what a control variate leaves over is nearly as rough as independent worlds.
BALANCE_GAIN = 0.55
CONTROLLED_GAIN = 0.95
RIDGE = 1e-3
CLEAR_SPREADS = 2.0
SMALLEST_SPREAD_K = 0.02


class Causes(NamedTuple):
    """Points lost to each cause; they add up to 100 minus the score."""

    cold: float
    hot: float
    fuel: float
    breakdown: float


class Score(NamedTuple):
    """Chance in a hundred that no part of the load passes its limits; `se` is the numerical standard error in points.

    `coldest_edge_p10_c` is the lowest edge temperature that nine of ten worlds stay above while the heater works;
    None for an empty box. `worlds` is how many were taken.
    """

    score: float
    se: float
    causes: Causes
    worlds: int
    coldest_edge_p10_c: float | None
    version: str = VERSION


EMPTY: Final = Score(score=100.0, se=0.0, causes=Causes(0.0, 0.0, 0.0, 0.0), worlds=0, coldest_edge_p10_c=None)


def assess(unit: Unit, *, load: Load | None, trip: Trip, risk: Risk, se_goal: float = SE_GOAL) -> Score:
    """Return the score of one unit for one trip.

    Parameters
    ----------
    unit : Unit
        Box, heater, fuel.
    load : Load or None
        What is carried; None or zero mass has nothing to lose and scores 100.
    trip, risk : Trip, Risk
        The trip and its uncertainties.
    se_goal : float
        Standard error above which 512 worlds are taken instead of 128 [points].

    Returns
    -------
    Score

    Notes
    -----
    Deterministic: equal inputs give equal numbers. The standard error is numerical only; it says nothing about wrong
    inputs.
    """
    if load is None or load.mass_kg == 0:
        return EMPTY
    plan = plan_of(trip, risk)
    columns = columns_of([unit])
    worlds = run_worlds(plan, columns, load, points=slice(0, USUAL))
    first = score_of(plan, worlds, load)[0]
    return first if first.se <= se_goal else refined(plan, columns, load, worlds)[0]


def refined(plan: Plan, columns: Columns, load: Load, worlds: Worlds, *, own: OwnRisk | None = None) -> list[Score]:
    """Return the scores over all 512 worlds, given the first of them; `own`: as in `run_worlds`."""
    done = worlds.cold_margin.shape[1]
    more = run_worlds(plan, columns, load, points=slice(done, FULL), own=own)
    names = ("cold_margin", "hot_margin", "breakdown", "fuel", "coldest")
    both = [np.concatenate([getattr(worlds, name), getattr(more, name)], axis=1) for name in names]
    return score_of(plan, Worlds(*both), load)


def score_of(plan: Plan, worlds: Worlds, load: Load) -> list[Score]:
    """Return one score per unit from how its worlds ended."""
    count = worlds.cold_margin.shape[1]
    cold = worlds.cold_margin <= 0
    hot = worlds.hot_margin <= 0
    lost = cold | hot
    kept = (1 - worlds.breakdown) * (1 - worlds.fuel)
    heatless = np.where(lost, 0.0, 1 - kept)
    by_fuel = _shared(heatless, worlds.fuel, worlds.breakdown)
    # A world that is lost on both sides counts half on each.
    both = 0.5 * (cold & hot)
    parts = np.array([cold - both, hot - both, by_fuel, heatless - by_fuel])
    means = parts.mean(axis=2)
    total = parts.sum(axis=0)
    gain = np.full(len(total), BALANCE_GAIN)
    for row, margin in ((0, worlds.cold_margin), (1, worlds.hot_margin)):
        for i in _unclear(margin):
            correction, control = _control(plan.risk, margin[i].astype(np.float64), count)
            means[row, i] += correction
            total[i] -= control
            gain[i] = CONTROLLED_GAIN
    se = 100 * gain * total.std(axis=1) / np.sqrt(count)
    p10 = np.partition(worlds.coldest, count // 10, axis=1)[:, count // 10]
    return _scores(means, se=se, count=count, coldest=p10)


def _unclear(margin: Array) -> list[int]:
    """Return the units whose margin is not plainly on one side in all worlds."""
    if not np.isfinite(margin).all():
        return []
    spread = margin.std(axis=1)
    near = (margin.min(axis=1) <= CLEAR_SPREADS * spread) & (margin.max(axis=1) >= -CLEAR_SPREADS * spread)
    return [int(i) for i in np.flatnonzero(near & (spread > 0))]


def _scores(lost: Array, *, se: Array, count: int, coldest: Array) -> list[Score]:
    """Return the scores of the means `lost` (4, u); parts that the correction pushed below zero are taken from the
    others in proportion."""
    total = np.minimum(np.maximum(_sum_of(lost), 0.0), 1.0)
    positive = np.maximum(lost, 0.0)
    whole = _sum_of(positive)
    parts = 100 * np.where(whole > 0, positive * total / np.where(whole > 0, whole, 1.0), positive)
    numbers = zip((100 * (1 - total)).tolist(), se.tolist(), parts.T.tolist(), coldest.tolist(), strict=True)
    return [Score(score, error, Causes(*causes), count, edge_c) for score, error, causes, edge_c in numbers]


def _sum_of(parts: Array) -> Array:
    """Return the sum of the four causes (4, u), always added in one order, so that a unit's score does not depend on
    how many are scored."""
    cold, hot, fuel, breakdown = parts
    total: Array = cold + hot + fuel + breakdown
    return total


def _shared(heatless: Array, fuel: Array, breakdown: Array) -> Array:
    """Return the share of a loss that fuel caused: losses of both kinds are split by their rates, `-ln(1 - p)`."""
    rate_fuel = -np.log1p(-np.minimum(fuel, 1 - 1e-9))
    rate_all = rate_fuel - np.log1p(-np.minimum(breakdown, 1 - 1e-9))
    share: Array = np.where(rate_all > 0, rate_fuel / np.where(rate_all > 0, rate_all, 1.0), 0.0)
    return heatless * share


def _control(risk: Risk, margin: Array, count: int) -> tuple[float, Array]:
    """Return the control variate of one margin: its correction of the mean, and its values per world.

    The margin is fitted linearly on the worlds' normals with weight near zero margin; `g = Phi(-fit/sc)` has a known
    mean, so the difference between that mean and the worlds' mean of g is error and is taken off.
    """
    spread = float(margin.std())
    z = normals()[:-1, :count]
    scale = tail_scale(normals()[-1, :count], df=risk.forecast_tail_df)
    mode = np.array([name.startswith("mode") for name in DIMENSIONS[:-1]])
    features = np.concatenate([np.ones((1, count)), np.where(mode[:, None], z * scale, z)])
    weight = 1.0 / (1.0 + (margin / spread) ** 2)
    weighted = features * weight
    normal = weighted @ features.T + RIDGE * count * np.diag([0.0] + [1.0] * len(z))
    fit = np.linalg.solve(normal, weighted @ margin)
    predicted = fit @ features
    rest = float(np.sqrt((weight * (margin - predicted) ** 2).sum() / weight.sum()))
    rest = max(rest, SMALLEST_SPREAD_K)
    control = normal_cdf(-predicted / rest)
    slopes = fit[1:]
    steady = float((slopes[~mode] ** 2).sum()) + rest**2
    moving = float((slopes[mode] ** 2).sum())
    expected = _expected(fit[0], steady, moving, risk)
    return expected - float(control.mean()), control


def _expected(centre: float, steady: float, moving: float, risk: Risk) -> float:
    """Return the mean of the control: normal in closed form, Student-t by averaging over the tail's scale."""
    if risk.forecast_tail_df is None:
        return float(normal_cdf(np.array([-centre / np.sqrt(steady + moving)]))[0])
    scale = _tail_points(risk.forecast_tail_df)
    return float(normal_cdf(-centre / np.sqrt(steady + moving * scale**2)).mean())


_TAIL_POINTS: dict[float, Array] = {}


def _tail_points(df: float, count: int = 400) -> Array:
    """Return evenly likely scales of the tail, shape (400,)."""
    if df not in _TAIL_POINTS:
        middle = (np.arange(count) + 0.5) / count
        if len(_TAIL_POINTS) > 32:
            _TAIL_POINTS.clear()
        _TAIL_POINTS[df] = np.sqrt((df - 2.0) / chi2_quantile(middle, df=df))
    return _TAIL_POINTS[df]
