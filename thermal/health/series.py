"""Days of one unit as a series: what all of them say together, and each alone."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

import numpy as np

from thermal.health.day import Day
from thermal.health.insulation import NOTHING, DayHeat
from thermal.ranges import Array

__all__ = ["Point", "mean_of", "plausible", "points_of", "posterior_of"]

PRIOR_RATIO_SD, PRIOR_LINING_SD, PRIOR_SENSORS_K = 0.20, 0.25, 0.6
"""Spread of UA/Q and of the lining's store relative to the design, and of the difference of two sensors."""
DAY_SD = 0.06
ODD_Z, FEWEST_TO_COMPARE = 4.0, 5
"""A day so far from the median of the others is left out: a stuck sensor, a door that nobody reported."""

Point = tuple[int, float, float]
"""(day, UA/Q over the plant's, sd)."""


def posterior_of(total: DayHeat, scale: float) -> tuple[Array, Array]:
    """Return mean (3,) and covariance (3, 3) of UA/Q over the plant's, lining over the plant's, sensors [K]."""
    prior = np.diag([(PRIOR_RATIO_SD * scale) ** -2, PRIOR_LINING_SD**-2, PRIOR_SENSORS_K**-2])
    precision = total.info + prior
    covariance: Array = np.linalg.inv(precision).astype(np.float64)
    return covariance @ (total.vector + prior @ np.array([scale, 1.0, 0.0])), covariance


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
    total = sum((day.heat for day in days), NOTHING)
    _, lining, sensors = posterior_of(total, scale)[0].tolist()
    points = []
    for day in days:
        own = float(day.heat.info[0, 0])
        if day.heat.hours < 2.0 or own < 0.3**-2:
            continue
        info = day.heat.info
        value = (float(day.heat.vector[0]) - float(info[0, 1]) * lining - float(info[0, 2]) * sensors) / own
        points.append((day.number, value, hypot(own**-0.5, DAY_SD * scale)))
    return points


def mean_of(points: Sequence[Point]) -> tuple[float, float]:
    weights = [point[2] ** -2 for point in points]
    total = sum(weights)
    return sum(w * point[1] for w, point in zip(weights, points, strict=True)) / total, total**-0.5
