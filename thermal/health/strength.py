"""How warm the heater makes its air: the rise from return to discharge air at full fire, day by day.

The rise times the flow of the fan is the heat. The flow is rarely stated, but it hardly changes; so a rise that falls
says that the heater has grown weaker, and tells that from a box that leaks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermal.health.readings import Plant, Readings
from thermal.health.spans import flat, spans_of

__all__ = ["DayRise", "day_rise", "rise_of"]

STEADY_S = 15 * 60.0
"""The coolant is warm after so long at full fire: three to four of its time constants."""
FEWEST = 4
LEAST_RISE_K = 2.0
"""Less is no heat at all: `thermal.health.watch` speaks of that."""
BOTH_FIRES = 0.5
"""Share of the design's step from low to full fire that must be seen before the upper end is taken for full fire."""
STUCK_READINGS = 4
RISE_SD_K = 0.7
"""Spread of one difference of two sensors and of the heater's own unsteadiness (assumption)."""
OFFSET_SD_K = 0.4
"""How far apart the two sensors may be for good; part of every rise of a unit, so it does not hide a change."""


@dataclass(frozen=True, slots=True)
class DayRise:
    """Readings at steady full fire in a day, and their mean rise [K] (NaN without any)."""

    n: int
    mean_k: float


def day_rise(readings: Readings, plant: Plant, *, start_s: float, end_s: float) -> DayRise:
    """Return the rise at full fire from start_s to end_s; earlier readings only lead in."""
    rise = readings.discharge_air_c - readings.return_air_c
    rise[flat(readings.discharge_air_c, run=STUCK_READINGS) | flat(readings.return_air_c, run=STUCK_READINGS)] = np.nan
    inside = (readings.at_s >= start_s) & (readings.at_s < end_s)
    steady = inside & _steady(readings) & np.isfinite(rise)
    found = rise[steady]
    if plant.always_runs and len(found):
        # Its flag does not tell full from low fire; the warm end of the rises is full fire, on a day that saw both.
        low, top = np.quantile(found, (0.1, 0.98)).tolist()
        both = plant.low_w > 0 and top > BOTH_FIRES * low * plant.heat_w / plant.low_w
        found = found[found > 0.85 * top] if both else found[:0]
    if len(found) < FEWEST or np.median(found) < LEAST_RISE_K:
        return DayRise(0, float("nan"))
    return DayRise(len(found), float(np.median(found)))


def _steady(readings: Readings) -> NDArray[np.bool_]:
    """Return which readings lie in a run, doors shut, that has lasted for `STEADY_S`."""
    steady = np.zeros(len(readings), dtype=np.bool_)
    for span in spans_of(readings):
        if not span.on:
            continue
        part = slice(span.first, span.last + 1)
        runs = readings.running[part] == 1
        at_s = readings.at_s[part]
        began = np.where(runs & ~np.concatenate([[False], runs[:-1]]), at_s, -np.inf)
        began = np.maximum.accumulate(began)
        steady[part] = runs & (at_s - began >= STEADY_S)
    return steady


def rise_of(days: list[DayRise]) -> tuple[float, float] | None:
    """Return the mean rise of some days and its sd from reading to reading [K], or None without any."""
    known = [day for day in days if day.n]
    if not known:
        return None
    weights = np.array([min(day.n, 20) for day in known], dtype=float)
    mean = float(np.average([day.mean_k for day in known], weights=weights))
    return mean, RISE_SD_K / float(np.sqrt(min(weights.sum(), 100.0)))
