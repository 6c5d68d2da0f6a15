"""How much heat a box loses, from ordinary operation: one day of readings becomes a few numbers that add up.

The heat balance of the shut box, cumulated from the start of a span (hourly means would drown in the phase of the
thermostat):

    heat(t) = UA sum w (F - T_amb - d) dt + C (F - F0) + C_air (T_a - T_a0)
              + (g chilled + a_e tau) (1 - e^(-t/tau)) + a_c t + const

F: return air behind the lining's lag; w: moving factor; d: how much the air sensor shows above the ambient one when
both are as warm; chilled: how long and how far doors cooled the air before; a_e, a_c: what the load takes, at first
and for long [W]. It is linear in (UA, C, d) and, per span, (g, a_e, a_c, const), which have priors and are integrated
out; what is left of a day is a 3x3 information matrix and a
vector. Days add. Spans with the unit off take part: they tell the sensors' difference, which else looks like heat.

Run time times rated output stands for heat, so this learns UA over output. See `thermal.health.condition` for what
that says of K.

References: co-heating test by regression of heat on temperature difference, e.g. Johnston, Miles-Shenton, Farmer,
Wingfield, "Whole house heat loss test method (coheating)", Leeds Metropolitan University 2013 (method from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermal.health.heating import Heating, heating_of
from thermal.health.readings import Plant, Readings
from thermal.health.spans import Span, flat, spans_of
from thermal.ranges import Array

__all__ = ["DayHeat", "day_heat"]

MJ = 1e6
HOUR_S = 3600.0
ROW_S = 1800.0
"""Rows of the regression are this far apart."""
SETTLE_ON_S, SETTLE_OFF_S = 2400.0, 7200.0
"""What is skipped after doors shut, or the switch was turned [s]."""
SHORTEST_ON_S, SHORTEST_OFF_S = 5400.0, 4 * HOUR_S
LOAD_TAU_S = 3.5 * HOUR_S
PRIOR_LOAD_W = (400.0, 120.0)
"""Spread of what a load takes at first and for long."""
PRIOR_CONST_MJ = 3.0
PRIOR_EDGE_W_K = (130.0, 110.0)
"""What a load unseen gives to colder air [W/K], mean and spread: what open doors took from it comes back first."""
CHILL_BACK_S = 3 * HOUR_S
ROW_SD_MJ, ROW_SD_MJ_H = 0.8, 0.10
"""Noise of a row: phase of the thermostat, and what grows with time (films, sun, leaks)."""
MOVING_WHEN_ON = 0.8
"""Share of its heated hours that a unit without a speed sensor is taken to move."""
STUCK_RUN_S = 45 * 60.0


@dataclass(frozen=True, slots=True)
class DayHeat:
    """What one day tells of (UA relative to the plant's, C relative to the plant's lining, d in K).

    info (3, 3) and vector (3,) of the normal equations, hours of heated spans in it, and the mean difference between
    box and ambient over them [K].
    """

    info: Array
    vector: Array
    hours: float
    span_k: float

    def __add__(self, other: DayHeat) -> DayHeat:
        hours = self.hours + other.hours
        span = (self.hours * self.span_k + other.hours * other.span_k) / hours if hours else 0.0
        return DayHeat(self.info + other.info, self.vector + other.vector, hours, span)


NOTHING = DayHeat(np.zeros((3, 3)), np.zeros(3), 0.0, 0.0)


def day_heat(readings: Readings, plant: Plant, *, start_s: float, end_s: float, full_rise_k: float | None) -> DayHeat:
    """Return what the readings from start_s to end_s tell; earlier ones only lead in (6 h are enough).

    Parameters
    ----------
    readings : Readings
        One unit, from some hours before `start_s`.
    plant : Plant
        Its design.
    start_s, end_s : float
        The day, in the time of the readings [s].
    full_rise_k : float or None
        How much warmer discharge air is than return air at full fire, learned (`thermal.health.strength`); needed
        only for a unit whose engine never stops [K].
    """
    total = NOTHING
    usable = np.isfinite(readings.return_air_c) & np.isfinite(readings.ambient_c)
    longest = int(max(4, STUCK_RUN_S / max(float(np.median(np.diff(readings.at_s))), 1.0))) if len(readings) > 1 else 4
    usable &= ~flat(readings.return_air_c, run=longest) & ~flat(readings.ambient_c, run=longest)
    kept = _where(readings, usable)
    if len(kept) < 4:
        return total
    filtered = _behind_lining(kept, plant)
    heating = heating_of(kept, plant, full_rise_k=full_rise_k)
    for span in spans_of(kept):
        first = _settled(kept, span, start_s)
        last = int(np.searchsorted(kept.at_s, end_s)) - 1
        last = min(span.last, last)
        shortest = SHORTEST_ON_S if span.on else SHORTEST_OFF_S
        if last <= first or kept.at_s[last] - kept.at_s[first] < shortest:
            continue
        part = _span_heat(kept, filtered, heating, plant, span, first, last)
        if part is not None:
            total = total + part
    return total


def _where(readings: Readings, keep: NDArray[np.bool_]) -> Readings:
    return Readings(**{name: getattr(readings, name)[keep] for name in Readings.__dataclass_fields__})


def _settled(readings: Readings, span: Span, start_s: float) -> int:
    begins = readings.at_s[span.first] + (SETTLE_ON_S if span.on else SETTLE_OFF_S)
    return int(np.searchsorted(readings.at_s, max(begins, start_s)))


def _behind_lining(readings: Readings, plant: Plant) -> Array:
    """Return the return air behind the lining's lag, starting at the first reading [degC]."""
    tau = (plant.lining_j_k + plant.air_j_k) / (plant.film_w_k + plant.ua_w_k)
    return lagged(readings.at_s, readings.return_air_c, tau)


def lagged(at_s: Array, values: Array, tau_s: float) -> Array:
    """Return values behind a first-order lag, linear between readings; the first reading starts it."""
    dt = np.diff(at_s)
    keep = np.exp(-dt / tau_s)
    slope = np.diff(values) / dt
    # Exact for a ramp: y1 = keep y0 + (1 - keep) x0 + slope (dt - tau (1 - keep)).
    push = (1 - keep) * values[:-1] + slope * (dt - tau_s * (1 - keep))
    out = np.empty_like(values)
    level = out[0] = float(values[0])
    for i, (k, p) in enumerate(zip(keep.tolist(), push.tolist(), strict=True)):
        level = k * level + p
        out[i + 1] = level
    return out


def _span_heat(
    readings: Readings, filtered: Array, heating: Heating, plant: Plant, span: Span, first: int, last: int
) -> DayHeat | None:
    at_s = readings.at_s[first : last + 1]
    t = at_s - at_s[0]
    if span.on and not heating.known[first : last + 1].all():
        return None
    air, ambient = readings.return_air_c[first : last + 1], readings.ambient_c[first : last + 1]
    inner = filtered[first : last + 1]
    speed = readings.speed_km_h[first : last + 1]
    moving = np.where(np.isfinite(speed), speed > 5.0, MOVING_WHEN_ON * span.on)
    factor = 1 + (plant.moving_factor - 1) * moving
    lost = _cumulated(t, factor * (inner - ambient)) * plant.ua_w_k / MJ
    given = (heating.heat_j[first : last + 1] - heating.heat_j[first]) / MJ if span.on else np.zeros_like(t)
    y = given - plant.air_j_k * (air - air[0]) / MJ
    x = np.stack([lost, plant.lining_j_k * (inner - inner[0]) / MJ, -_cumulated(t, factor) * plant.ua_w_k / MJ], axis=1)
    tau = LOAD_TAU_S
    taken = -np.expm1(-t / tau) / MJ
    z = np.stack([tau * taken, t / MJ, np.ones_like(t), _chilled(readings, span, air.mean()) * taken], axis=1)
    rows = _rows(t)
    hours = t[rows] / HOUR_S
    weight = 1.0 / (ROW_SD_MJ**2 + (ROW_SD_MJ_H * hours) ** 2)
    y = y - PRIOR_EDGE_W_K[0] * z[:, 3]
    prior = np.diag([sd**-2 for sd in (*PRIOR_LOAD_W, PRIOR_CONST_MJ, PRIOR_EDGE_W_K[1])])
    info, vector = _without(x[rows], z[rows], y[rows], weight, prior)
    length_h = float(t[-1]) / HOUR_S if span.on else 0.0
    return DayHeat(info, vector, length_h, float(np.mean(inner - ambient)) if span.on else 0.0)


def _chilled(readings: Readings, span: Span, level_c: float) -> float:
    """Return how much the air was below `level_c` while doors stood open before the span [K s]."""
    low = int(np.searchsorted(readings.at_s, readings.at_s[span.first] - CHILL_BACK_S))
    part = slice(low, span.first + 1)
    at_s, door = readings.at_s[part], readings.door[part]
    if len(at_s) < 2:
        return 0.0
    opened = (door[:-1] == 1) | (door[1:] == 1)
    below = np.maximum(level_c - readings.return_air_c[part], 0.0)
    return float(np.sum(np.where(opened, np.minimum(np.diff(at_s), 1800.0) * (below[1:] + below[:-1]) / 2, 0.0)))


def _rows(t: Array) -> Array:
    """Return the positions of about one row per `ROW_S`, the last reading among them."""
    ends = np.arange(t[-1], 0.0, -ROW_S)[::-1]
    return np.unique(np.searchsorted(t, ends))


def _cumulated(t: Array, values: Array) -> Array:
    """Return the integral from the start, trapezoidal, shape of t."""
    out = np.zeros_like(t)
    np.cumsum(np.diff(t) * (values[1:] + values[:-1]) / 2, out=out[1:])
    return out


def _without(x: Array, z: Array, y: Array, weight: Array, prior: Array) -> tuple[Array, Array]:
    """Return information matrix and vector of x with z (prior mean 0, precision `prior`) integrated out."""
    xw, zw = x * weight[:, None], z * weight[:, None]
    cross = xw.T @ z
    solved = np.linalg.solve(z.T @ zw + prior, np.column_stack([cross.T, zw.T @ y]))
    return xw.T @ x - cross @ solved[:, :-1], xw.T @ y - cross @ solved[:, -1]
