"""What the stores inside a box did under its measured air: lining and load as first-order lags, over whole arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermal.health.readings import Plant, Readings
from thermal.ranges import Array

__all__ = ["Stores", "behind_lag", "lagged", "stores_of"]

LOAD_TAU_S = 4 * 3600.0
"""How slowly the outer layers of a load follow the air: 2 h at 2 t to 6 h at 20 t (docs/thermal-method.md)."""
EMPTY_AFTER_S, EMPTY_BELOW_K = 5400.0, 8.0
"""Off for so long and so far below the set point: whatever was carried is out."""
DEEPEST = 300.0
"""Time constants that one cumulated sum may span: exp of it is still a number."""


@dataclass(frozen=True, slots=True)
class Stores:
    """Arrays of shape (n,), for each reading.

    air_c: return air behind the lining's lag [degC]; lining_c: the lining; load_k: what a load has taken up since the
    first reading, over its capacity [K]; empty: nothing is carried, as far as the readings tell.
    """

    air_c: Array
    lining_c: Array
    load_k: Array
    empty: NDArray[np.bool_]


def stores_of(readings: Readings, plant: Plant) -> Stores:
    """Return what lining and load did; no NaN may be among return air and ambient.

    Notes
    -----
    `C_l T_l' = G (T_a - T_l) - U (T_l - T_amb)`, G the film's and U the rest of the shell's conductance, so T_l follows
    `share T_a + (1 - share) T_amb` behind a lag of C_l/(G + U), share = G/(G + U). Ambient moves so slowly against
    that lag that it is taken as it is.
    """
    shell = 1 / (1 / plant.ua_w_k - 1 / plant.film_w_k)
    share = plant.film_w_k / (plant.film_w_k + shell)
    air = lagged(readings.at_s, readings.return_air_c, plant.lining_j_k / (plant.film_w_k + shell))
    load_k, empty = _load(readings)
    return Stores(air, share * air + (1 - share) * readings.ambient_c, load_k, empty)


def lagged(at_s: Array, values: Array, tau_s: float) -> Array:
    """Return values behind a first-order lag, linear between readings; the first reading starts it."""
    dt = np.diff(at_s)
    keep = np.exp(-dt / tau_s)
    slope = np.diff(values) / dt
    # Exact for a ramp: y1 = keep y0 + (1 - keep) x0 + slope (dt - tau (1 - keep)).
    push = (1 - keep) * values[:-1] + slope * (dt - tau_s * (1 - keep))
    return behind_lag(dt / tau_s, push, float(values[0]))


def behind_lag(steps: Array, push: Array, start: float) -> Array:
    """Return y with `y[0] = start`, `y[i+1] = exp(-steps[i]) y[i] + push[i]`, shape (n + 1,).

    Notes
    -----
    Summed up as `exp(t) y`, in blocks short enough for exp to stay a number.
    """
    out = np.empty(len(steps) + 1)
    out[0] = start
    depth = np.cumsum(np.minimum(steps, DEEPEST))
    first = 0
    while first < len(steps):
        base = depth[first - 1] if first else 0.0
        last = max(int(np.searchsorted(depth, base + 2 * DEEPEST, side="right")), first + 1)
        grown = np.exp(depth[first:last] - base)
        out[first + 1 : last + 1] = (out[first] + np.cumsum(grown * push[first:last])) / grown
        first = last
    return out


def _load(readings: Readings) -> tuple[Array, NDArray[np.bool_]]:
    """Return what a load took up over its capacity [K], and where there is none.

    A box that stood cold and off is empty until its doors open, or, where no door is reported, until it has been
    warm and is switched; what comes in then is as warm as it has to be.
    """
    n = len(readings)
    taken, empty = np.zeros(n), np.zeros(n, dtype=np.bool_)
    at_s, air = readings.at_s, readings.return_air_c
    shut_off = (readings.on == 0) & ~(readings.door == 1)
    cold = air < readings.set_point_c - EMPTY_BELOW_K
    opened = readings.door == 1
    if np.isnan(readings.door).all():
        opened = (readings.on == 0) & ~cold
    # Where anything can change: between these places the load is one lag.
    since = _since(at_s, shut_off)
    leaves = shut_off & cold & ((since >= EMPTY_AFTER_S) | (since == at_s - at_s[0]))
    now_empty, first, level = bool(leaves[0]), 0, float(air[0])
    while first < n - 1:
        ahead = (opened if now_empty else leaves)[first + 1 :]
        found = int(np.argmax(ahead)) if ahead.any() else len(ahead) - 1
        last = first + 1 + found
        if now_empty:
            taken[first + 1 : last + 1] = taken[first]
            empty[first : last + 1] = True
            level = float(readings.set_point_c[last]) if np.isfinite(readings.set_point_c[last]) else float(air[last])
        else:
            dt = np.diff(at_s[first : last + 1])
            steps = dt / LOAD_TAU_S
            mean = (air[first:last] + air[first + 1 : last + 1]) / 2
            own = behind_lag(steps, -np.expm1(-steps) * mean, level)
            taken[first + 1 : last + 1] = taken[first] + own[1:] - level
        now_empty, first = not now_empty, last
    return taken, empty


def _since(at_s: Array, flags: NDArray[np.bool_]) -> Array:
    """Return for how long each flag has been set without a break [s]; -1 where it is not."""
    begins = flags & ~np.concatenate([[False], flags[:-1]])
    start = np.maximum.accumulate(np.where(begins, at_s, -np.inf))
    return np.where(flags, at_s - start, -1.0)
