"""The ambient forecast of a trip, read at moments and over spans. Worked out once per trip, however many units ask."""

from __future__ import annotations

import math
from bisect import bisect_right
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np

from fleet.durations import HOUR
from fleet.readiness.facts import TripFacts

LATE = timedelta(hours=6)
"""The coldest hour is looked for so long after the planned arrival too: trips are late (choice)."""
TRIPS = 64
"""So many trips are remembered, each as the very value that was asked about."""


@lru_cache(maxsize=TRIPS)
def _curve(trip: TripFacts) -> tuple[list[float], list[float]]:
    """Times [s] and temperatures [degC] of the forecast."""
    return [at.timestamp() for at, _ in trip.ambient], [float(temp_c) for _, temp_c in trip.ambient]


def ambient_at(trip: TripFacts, at: datetime) -> float:
    """The forecast at a moment, linear between its points and held beyond them [degC]. The trip must have one.

    Plain numbers: each unit of a ranking asks for one moment, for which numpy takes three times as long.
    """
    times_s, temps_c = _curve(trip)
    at_s = at.timestamp()
    after = bisect_right(times_s, at_s)
    if after == 0 or after == len(times_s):
        return temps_c[max(after - 1, 0)]
    slope = (temps_c[after] - temps_c[after - 1]) / (times_s[after] - times_s[after - 1])
    return slope * (at_s - times_s[after - 1]) + temps_c[after - 1]


@lru_cache(maxsize=TRIPS)
def coldest_c(trip: TripFacts, now: datetime) -> float | None:
    """The coldest ambient the forecast gives from now to the last arrival and LATE after it [degC].

    Linear between points, so that a cold one beyond the end counts as far as it reaches in; None without a forecast.
    """
    if not trip.ambient:
        return None
    end = trip.expected_at(now) + LATE
    inside = [temp_c for at, temp_c in trip.ambient if now <= at <= end]
    return round(min([*inside, ambient_at(trip, now), ambient_at(trip, end)]), 1)


@lru_cache(maxsize=TRIPS)
def ambient_hours(trip: TripFacts, now: datetime) -> tuple[float, ...]:
    """Forecast ambient at whole hours from the start until the last arrival, rounded up [degC]; linear between."""
    starts_at, ends_at = trip.starts_at(now), trip.expected_at(now)
    hours = max(math.ceil((ends_at - starts_at) / HOUR), 1)
    at_h = [(at - starts_at) / HOUR for at, _ in trip.ambient]
    temps = [temp_c for _, temp_c in trip.ambient]
    return tuple(float(value) for value in np.interp(np.arange(hours + 1), at_h, temps))
