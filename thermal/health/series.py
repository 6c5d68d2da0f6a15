"""Days of one unit as a series: what all of them say together, and each alone."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

import numpy as np

from thermal.health.day import Day
from thermal.health.insulation import UNKNOWNS
from thermal.ranges import Array

__all__ = ["Point", "mean_of", "plausible", "points_of", "posterior_of"]

PRIOR_RATIO_SD, PRIOR_LINING_SD, PRIOR_SENSORS_K = 0.20, 0.25, 0.6
"""Spread of UA/Q and of the lining's store relative to the design, and of the difference of two sensors."""
PRIOR_MOTION_SD = 0.05
"""Spread of the factor by which a moving box loses more (documented range 1.0 to 1.2)."""
PRIOR_LOAD_KJ_M2K = (5.5, 3.0)
"""Store of a load that answers within hours, per area of the box: mean and spread. 130 W/K over 4 h is 12.7 of 147 m2;
about 60 % of what its edge lost comes back from the air, the rest from its core, and a load comes in while doors are
open, so that half of the chill of loading does not reach it."""
DRIFT_K_DAY = 0.03
"""How fast the two sensors drift apart, scale (assumption)."""
SENSORS_DF, DRIFT_DF, ROUNDS = 3.0, 1.0, 6
"""Most sensors hold and a few run away: their difference and drift have Student t priors with these degrees of freedom;
rounds until the normal priors that stand for them are found."""
SENSORS = 2
DAY_SD = 0.03
ODD_Z, FEWEST_TO_COMPARE = 4.0, 5
"""A day so far from the median of the others is left out: a stuck sensor, a door that nobody reported."""

Point = tuple[int, float, float]
"""(day, UA/Q over the plant's, sd)."""


def posterior_of(days: Sequence[Day], scale: float) -> tuple[Array, Array]:
    """Return mean (6,) and covariance (6, 6) of the five unknowns of `DayHeat` and of the sensors' drift per day
    [K/day], the sensors as they are on the mean day."""
    middle = _middle(days)
    size = UNKNOWNS + 1
    info, vector = np.zeros((size, size)), np.zeros(size)
    for day in days:
        spread = np.vstack([np.eye(UNKNOWNS), np.zeros(UNKNOWNS)])
        spread[-1, SENSORS] = day.number - middle
        info += spread @ day.heat.info @ spread.T
        vector += spread @ day.heat.vector
    load, load_sd = PRIOR_LOAD_KJ_M2K
    scales = [PRIOR_RATIO_SD * scale, PRIOR_LINING_SD, PRIOR_SENSORS_K * scale, PRIOR_MOTION_SD * scale, load_sd]
    scales.append(DRIFT_K_DAY * scale)
    variance, known = np.array(scales) ** 2, np.array([scale, 1.0, 0.0, 0.0, load, 0.0])
    for _ in range(ROUNDS):
        covariance: Array = np.linalg.inv(info + np.diag(1 / variance)).astype(np.float64)
        mean = covariance @ (vector + known / variance)
        for place, df in ((SENSORS, SENSORS_DF), (UNKNOWNS, DRIFT_DF)):
            seen = float(mean[place]) ** 2 + float(covariance[place, place])
            variance[place] = (df * scales[place] ** 2 + seen) / (df + 1)
    return mean, covariance


def plausible(days: Sequence[Day], scale: float) -> list[Day]:
    """Return the days without those that are far from the median of all."""
    points = points_of(days, scale)
    if len(points) < FEWEST_TO_COMPARE:
        return list(days)
    middle = float(np.median([value for _, value, _ in points]))
    odd = {number for number, value, sd in points if abs(value - middle) > ODD_Z * sd}
    return [day for day in days if day.number not in odd]


def points_of(days: Sequence[Day], scale: float) -> list[Point]:
    """Return (day, UA/Q over the plant's, sd) of days that say something, the other unknowns as all days have them."""
    if not days:
        return []
    mean, middle = posterior_of(days, scale)[0], _middle(days)
    points = []
    for day in days:
        info, own = day.heat.info, float(day.heat.info[0, 0])
        if day.heat.hours < 2.0 or own < 0.3**-2:
            continue
        others = mean[:UNKNOWNS].copy()
        others[0] = 0.0
        others[SENSORS] += mean[-1] * (day.number - middle)
        value = (float(day.heat.vector[0]) - float(info[0] @ others)) / own
        points.append((day.number, value, hypot(own**-0.5, DAY_SD * scale)))
    return points


def mean_of(points: Sequence[Point]) -> tuple[float, float]:
    weights = [point[2] ** -2 for point in points]
    total = sum(weights)
    return sum(w * point[1] for w, point in zip(weights, points, strict=True)) / total, total**-0.5


def _middle(days: Sequence[Day]) -> float:
    """Return the number of the mean day."""
    return sum(day.number for day in days) / max(len(days), 1)
