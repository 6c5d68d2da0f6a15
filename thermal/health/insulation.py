"""How much heat a box loses, from ordinary operation: one day of readings becomes a few numbers that add up.

The heat balance of the shut box, cumulated from the start of a span (hourly means would drown in the phase of the
thermostat):

    heat(t) = UA sum (F - T_amb - d) dt + C (T_l - T_l0) + C_air (T_a - T_a0)
              + UA m sum moving (F - T_amb) dt + g (L - L0) + a_e tau (1 - e^(-t/tau)) + a_c t + const

F: return air behind the lining's lag; T_l: the lining; d: how much the air sensor shows above the ambient one when
both are as warm; m: how much more a moving box loses than the design says; L: what a load takes up that follows the
air by a lag, so that what open doors took from it comes back (`thermal.health.stores`); a_e, a_c: what the load takes
besides, at first and for long [W]. It is linear in (UA, C, UA d, UA m, g), which are the unit's, and, per span, in how
far its load differs and in (a_e, a_c, const), which have priors and are integrated out; what is left of a day is a 5x5
information matrix and a vector. Days add. Spans with the unit off take part: they tell the sensors' difference, which
else looks like heat.

Run time times rated output stands for heat, so this learns UA over output. See `thermal.health.condition` for what
that says of K.

References: co-heating test by regression of heat on temperature difference, e.g. Johnston, Miles-Shenton, Farmer,
Wingfield, "Whole house heat loss test method (coheating)", Leeds Metropolitan University 2013 (method from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import NDArray

from thermal.health.heating import Heating, heating_of
from thermal.health.readings import Plant, Readings
from thermal.health.spans import Span, flat, spans_of
from thermal.health.stores import Stores, stores_of
from thermal.ranges import Array

__all__ = ["NOTHING", "UNKNOWNS", "DayHeat", "day_heat"]

UNKNOWNS, LINING = 5, 1
AIR_NOISE_K = 0.3
"""Noise of an air sensor in a stream of air (assumption)."""
MJ = 1e6
HOUR_S = 3600.0
ROW_S = 1800.0
"""Rows of the regression are this far apart."""
SETTLE_ON_S, SETTLE_OFF_S = 2400.0, 7200.0
"""What is skipped after doors shut, or the switch was turned [s]."""
SHORTEST_ON_S, SHORTEST_OFF_S = 5400.0, 4 * HOUR_S
MOVING_WHEN_ON = 0.8
"""Share of its heated hours that a unit without a speed sensor is taken to move."""
NEAR_TAU_S = 3.5 * HOUR_S
STUCK_RUN_S = 45 * 60.0


@dataclass(frozen=True, slots=True)
class Spread:
    """What a span may have of its own, sd: a load that is warmer or colder than the air, at first and for long [W];
    the start [MJ]; how far its load is from the unit's usual one [kJ/K per m2 of box]; and the noise of a row, at once
    [MJ] and growing [MJ/h]."""

    near_w: float
    far_w: float
    start_mj: float
    load_kj_m2k: float
    row_mj: float
    row_mj_h: float


HEATED = Spread(near_w=300.0, far_w=120.0, start_mj=3.0, load_kj_m2k=3.5, row_mj=0.8, row_mj_h=0.10)
"""A thermostat's phase, a load, films, leaks."""
RESTING = Spread(near_w=60.0, far_w=50.0, start_mj=0.5, load_kj_m2k=3.5, row_mj=0.3, row_mj_h=0.03)
"""An empty box that cools: nothing is given; a clear sky and a low sun are worth a kelvin of ambient (assumption)."""


@dataclass(frozen=True, slots=True)
class DayHeat:
    """What one day tells of (UA over the plant's, lining's store over the plant's, UA d over the plant's UA [K],
    UA m over the plant's UA, g [kJ/K per m2 of box]).

    info (5, 5) and vector (5,) of the normal equations, hours of heated spans in it, and the mean difference between
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


NOTHING = DayHeat(np.zeros((UNKNOWNS, UNKNOWNS)), np.zeros(UNKNOWNS), 0.0, 0.0)


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
    stores = stores_of(kept, plant)
    heating = heating_of(kept, plant, full_rise_k=full_rise_k)
    for span in spans_of(kept):
        first = _settled(kept, span, start_s)
        last = min(span.last, int(np.searchsorted(kept.at_s, end_s)) - 1)
        shortest = SHORTEST_ON_S if span.on else SHORTEST_OFF_S
        if last <= first or kept.at_s[last] - kept.at_s[first] < shortest:
            continue
        if span.on and not heating.known[first : last + 1].all():
            continue
        total = total + _span_heat(kept, stores, heating, plant, span.on, slice(first, last + 1))
    return total


def _where(readings: Readings, keep: NDArray[np.bool_]) -> Readings:
    return Readings(**{name: getattr(readings, name)[keep] for name in Readings.__dataclass_fields__})


def _settled(readings: Readings, span: Span, start_s: float) -> int:
    begins = readings.at_s[span.first] + (SETTLE_ON_S if span.on else SETTLE_OFF_S)
    return int(np.searchsorted(readings.at_s, max(begins, start_s)))


def _span_heat(readings: Readings, stores: Stores, heating: Heating, plant: Plant, on: bool, part: slice) -> DayHeat:
    at_s = readings.at_s[part]
    t = at_s - at_s[0]
    air, ambient, lining = readings.return_air_c[part], readings.ambient_c[part], stores.lining_c[part]
    speed = readings.speed_km_h[part]
    moving = np.where(np.isfinite(speed), speed > 5.0, MOVING_WHEN_ON * on)
    factor = 1 + (plant.moving_factor - 1) * moving
    apart = stores.air_c[part] - ambient
    lost, shown, driven = _cumulated(t, np.stack([factor * apart, -factor, moving * apart])) * plant.ua_w_k / MJ
    given = (heating.heat_j[part] - heating.heat_j[part.start]) / MJ if on else np.zeros_like(t)
    y = given - plant.air_j_k * (air - air[0]) / MJ
    load = (stores.load_k[part] - stores.load_k[part.start]) * plant.area_m2 * 1e3 / MJ
    x = np.stack([lost, plant.lining_j_k * (lining - lining[0]) / MJ, shown, driven, load], axis=1)
    own = HEATED if on or not stores.empty[part.start] else RESTING
    z = np.stack([-np.expm1(-t / NEAR_TAU_S) * NEAR_TAU_S / MJ, t / MJ, np.ones_like(t), load], axis=1)
    rows = _rows(t)
    weight = 1.0 / (own.row_mj**2 + (own.row_mj_h * t[rows] / HOUR_S) ** 2)
    prior = np.diag([sd**-2 for sd in (own.near_w, own.far_w, own.start_mj, own.load_kj_m2k)])
    info, vector, freedom = _without(x[rows], z[rows], y[rows], weight, prior)
    info[LINING, LINING] -= min(freedom * _noise_mj2(t, plant), info[LINING, LINING] / 2)
    length_h = float(t[-1]) / HOUR_S if on else 0.0
    return DayHeat(info, vector, length_h, float(np.mean(apart)) if on else 0.0)


def _noise_mj2(t: Array, plant: Plant) -> float:
    """Return the variance of the lining's store from the noise of the air sensor [MJ2].

    Behind the lag, `y1 = keep y0 + new x1 + old x0` for readings in even steps. Noise in a regressor pulls its
    coefficient to 0, the more the less the regressor moves, and a box held by its thermostat hardly moves; taking the
    noise out of the normal equations puts that right (Fuller, Measurement Error Models, 1987, section 2.2; from
    memory).
    """
    step = float(t[-1]) / (len(t) - 1) * (plant.film_w_k + plant.ua_w_k) / plant.lining_j_k
    keep = exp(-step)
    new, old = 1 - (1 - keep) / step, (1 - keep) / step - keep
    share = (new**2 + old**2 + 2 * new * old * keep) / (1 - keep**2)
    return share * (AIR_NOISE_K * plant.lining_j_k / MJ) ** 2


def _rows(t: Array) -> Array:
    """Return the positions of about one row per `ROW_S`, the last reading among them."""
    ends = np.arange(t[-1], 0.0, -ROW_S)[::-1]
    return np.unique(np.searchsorted(t, ends))


def _cumulated(t: Array, values: Array) -> Array:
    """Return the integrals from the start along the last axis, trapezoidal, shape of values."""
    out = np.zeros_like(values)
    np.cumsum(np.diff(t) * (values[..., 1:] + values[..., :-1]) / 2, axis=-1, out=out[..., 1:])
    return out


def _without(x: Array, z: Array, y: Array, weight: Array, prior: Array) -> tuple[Array, Array, float]:
    """Return information matrix and vector of x with z (prior mean 0, precision `prior`) integrated out, and how much
    weight is left for what varies from row to row."""
    xw, zw = x * weight[:, None], z * weight[:, None]
    cross = xw.T @ z
    solved = np.linalg.solve(z.T @ zw + prior, np.column_stack([cross.T, zw.T @ y, zw.T @ zw]))
    by_x, by_y, by_row = np.split(solved, [x.shape[1], x.shape[1] + 1], axis=1)
    left = float(weight.sum() - np.trace(by_row))
    return xw.T @ x - cross @ by_x, xw.T @ y - cross @ by_y[:, 0], left
