"""How much heat a unit gave, from what it reports: engine hours, its run flag, or the warmth of its discharge air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermal.health.readings import Plant, Readings
from thermal.health.stores import behind_lag
from thermal.ranges import Array

__all__ = ["Heating", "heating_of"]

COUNTER_STEP_H = 0.2
"""A counter that gains this much more than the time between two readings was changed or reset."""

REST_AFTER_S, FEWEST_AT_REST, MOST_APART_K = 1800.0, 4, 1.5
"""The coil is as cold as the air so long after the unit was switched off; further apart than this is no offset."""


@dataclass(frozen=True, slots=True)
class Heating:
    """Heat given to the air since the first reading [J], where it is `known` (the step before the reading too), and
    the time at full fire since the first reading [h]."""

    heat_j: Array
    known: NDArray[np.bool_]
    full_h: Array


def heating_of(readings: Readings, plant: Plant, *, full_rise_k: float | None) -> Heating:
    """Return the heat given, by the best measure the unit has.

    Notes
    -----
    A heater that stops between runs gives its rated output while its engine hours count (else while its flag says so),
    behind the lag of its coolant. One whose engine never stops gives `rise / full_rise` of it; without discharge air
    or a learned rise its heat is not known. In each case heat is in units of the *rated* output.
    """
    dt = np.diff(readings.at_s)
    if plant.always_runs:
        share, known = _share_of_rise(readings, plant, full_rise_k)
        delivered = share * plant.heat_w * dt
        low = plant.low_w / plant.heat_w
        fired = np.clip((share - low) / (1 - low), 0.0, 1.0)
        return _since_start(delivered, known, fired * dt)
    share, known = _share_of_hours(readings, dt)
    return _since_start(_behind_coolant(share, dt, plant.lag_s) * plant.heat_w, known, share * dt)


def _since_start(heat: Array, known: NDArray[np.bool_], full_s: Array) -> Heating:
    zero = np.zeros(1)
    return Heating(
        np.concatenate([zero, np.cumsum(np.where(known, heat, 0.0))]),
        np.concatenate([[True], known]),
        np.concatenate([zero, np.cumsum(np.where(known, full_s, 0.0))]) / 3600.0,
    )


def _share_of_hours(readings: Readings, dt: Array) -> tuple[Array, NDArray[np.bool_]]:
    gained = np.diff(readings.engine_h)
    with np.errstate(invalid="ignore"):
        counted = np.isfinite(gained) & (gained >= 0) & (gained * 3600.0 <= dt + COUNTER_STEP_H * 3600.0)
    flags = (readings.running[1:] + readings.running[:-1]) / 2
    share = np.where(counted, gained * 3600.0 / dt, flags)
    known = np.isfinite(share)
    return np.where(known, share, 0.0), known


def _share_of_rise(readings: Readings, plant: Plant, full_rise_k: float | None) -> tuple[Array, NDArray[np.bool_]]:
    if full_rise_k is None:
        nothing = np.zeros(max(len(readings) - 1, 0))
        return nothing, np.zeros(len(nothing), dtype=np.bool_)
    rest_k = _rest_rise(readings)
    rise = readings.discharge_air_c - readings.return_air_c - rest_k
    mean = (rise[1:] + rise[:-1]) / 2 / (full_rise_k - rest_k)
    off = (readings.on[1:] == 0) & (readings.on[:-1] == 0)
    share = np.where(off, 0.0, mean)
    known = np.isfinite(share)
    return np.where(known, np.clip(share, 0.0, 1.1), 0.0), known


def _rest_rise(readings: Readings) -> float:
    """Return how far apart the two air sensors are while the unit has long been off [K]; 0 where that is unknown."""
    off = readings.on == 0
    began = np.maximum.accumulate(np.where(off, -np.inf, readings.at_s))
    rise = (readings.discharge_air_c - readings.return_air_c)[off & (readings.at_s - began >= REST_AFTER_S)]
    rise = rise[np.isfinite(rise)]
    if len(rise) < FEWEST_AT_REST:
        return 0.0
    return min(max(float(np.median(rise)), -MOST_APART_K), MOST_APART_K)


def _behind_coolant(share: Array, dt: Array, lag_s: float) -> Array:
    """Return the seconds of full heat that reach the air in each step: the run behind a first-order lag."""
    # Runs begin and end where they are reported, so a step is steady: level1 = keep level0 + (1 - keep) run.
    steps = dt / lag_s
    passed = -np.expm1(-steps)
    level = behind_lag(steps, passed * share, 0.0)[:-1]
    return share * dt + (level - share) * passed * lag_s
