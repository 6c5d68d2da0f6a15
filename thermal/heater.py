"""The heater: what its thermostat really holds on average, what it burns, how long its engine runs."""

import numpy as np

from thermal.box import Network
from thermal.columns import Columns
from thermal.ranges import Array

__all__ = ["duty_of", "thermostat_offset", "use_of"]

SHORTEST_LAG_S = 1.0
LOWEST_DUTY = 0.02
LONGEST_RUN_S = 6 * 3600.0


def thermostat_offset(net: Network, columns: Columns, duty: Array) -> Array:
    """Return the mean air temperature of the real on/off cycle minus the set point, K.

    Parameters
    ----------
    net : Network
        Boxes, shape (w,).
    columns : Columns
        Their heaters, shape (w,).
    duty : ndarray, shape (..., w)
        Share of the span between low and high fire that holds the set point [-].

    Returns
    -------
    ndarray, shape (..., w)

    Notes
    -----
    A relay at +-h with a first-order coolant lag and minimum on and off times, over lining and edge of the load as
    integrators, `B = (G_l/SG)^2/C_l + (G_e/SG)^2/C_e`, is solved in closed form for its periodic cycle:
    `offset = -h - q0/SG + B I/(t_on + t_off) + d Q/SG`. It is not small: a unit that must run ten minutes averages 0.6 K
    above its set point. Above the duty that the minimum times allow, the part without `d Q/SG` goes linearly to the value
    where the air peaks at +h with the heater always on. Measured against resolved cycles in the tests.
    """
    air_sum = net.air_sum
    rate = (net.film / air_sum) ** 2 / net.c_lining + (net.edge / air_sum) ** 2 / net.c_edge
    swing = columns.q_max - columns.q_low
    limit = np.clip(columns.min_on / np.maximum(columns.min_on + columns.min_off, 1.0), 0.35, 0.9)
    d = np.clip(duty, LOWEST_DUTY, 1.0)
    level = _level(np.minimum(d, limit), columns, swing, air_sum, rate)
    at_full = np.minimum(level, columns.hysteresis - swing / air_sum)
    beyond = np.maximum(d - limit, 0.0) / (1 - limit)
    offset: Array = level + beyond * (at_full - level) + d * swing / air_sum
    return offset


def _level(d: Array, columns: Columns, swing: Array, air_sum: Array, rate: Array) -> Array:
    """Return the mean share of the stores in the air temperature, relative to the set point [K]."""
    # The air's own heat follows the coolant about a minute later; the two delays act as one.
    lag = np.maximum(columns.lag + columns.air_j_k / air_sum, SHORTEST_LAG_S)
    h = columns.hysteresis
    ratio = (1 - d) / d
    on = np.maximum(np.maximum(columns.min_on, columns.min_off / ratio), SHORTEST_LAG_S)

    def rise(run: Array) -> tuple[Array, Array, Array]:
        start = _residual(swing, run, ratio, lag)
        gone = -np.expm1(-run / lag)
        stored = (swing - d * swing) * run - (swing - start) * lag * gone
        return (swing - start) * gone / air_sum + rate * stored, start, stored

    reached, q0, stored = rise(on)
    if (reached < 2 * h).any():
        on = _run_until(rise, on, 2 * h)
        reached, q0, stored = rise(on)
    off = ratio * on
    q1 = swing - (swing - q0) * np.exp(-on / lag)
    held = d * swing
    double = (
        (swing - held) * on**2 / 2
        - (swing - q0) * lag * (on + lag * np.expm1(-on / lag))
        + stored * off
        - held * off**2 / 2
        + q1 * lag * (off + lag * np.expm1(-off / lag))
    )
    level: Array = -h - q0 / air_sum + rate * double / (on + off)
    return level


def _residual(swing: Array, run: Array, ratio: Array, lag: Array) -> Array:
    """Return the heat still coming from the coolant when the heater starts again [W]."""
    q1 = swing * np.expm1(-run / lag) / np.expm1(-run * (1 + ratio) / lag)
    residual: Array = q1 * np.exp(-run * ratio / lag)
    return residual


def _run_until(rise: object, shortest: Array, goal: Array) -> Array:
    """Return the run, at least `shortest`, after which the air has risen by `goal`, by bisection [s]."""
    assert callable(rise)
    low, high = np.log(shortest), np.log(shortest + LONGEST_RUN_S)
    for _ in range(12):
        middle = (low + high) / 2
        short = rise(np.exp(middle))[0] < goal
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.where(rise(shortest)[0] >= goal, shortest, np.exp(high))


def duty_of(columns: Columns, heat: Array) -> Array:
    """Return the share of the span between low and high fire that delivers `heat` [W], shape of `heat`."""
    low = columns.q_low.astype(heat.dtype)
    duty: Array = (heat - low) / (columns.q_max.astype(heat.dtype) - low)
    return np.maximum(duty, 0.0, out=duty)


def use_of(columns: Columns, duty: Array, run_s: Array) -> tuple[Array, Array]:
    """Return fuel burnt [L] and engine hours, cumulated to the nodes, shape (s + 1, w) each.

    Parameters
    ----------
    columns : Columns
        Heaters, shape (w,).
    duty : ndarray, shape (s, w)
        Duty of each step [-].
    run_s : ndarray, shape (s,)
        Time of each step in which the heater may run [s].

    Notes
    -----
    `B' = b_low + duty (b_high - b_low)`. Engine hours grow with the duty of a start-stop heater, and all the time for one
    with a low fire.
    """
    at_full = np.zeros((len(duty) + 1, duty.shape[1]), dtype=duty.dtype)
    np.cumsum(duty * run_s.astype(duty.dtype)[:, None], axis=0, out=at_full[1:])
    running = np.concatenate([[0.0], np.cumsum(run_s)]).astype(duty.dtype)[:, None]
    low = columns.burn_low.astype(duty.dtype)
    burnt = at_full * (columns.burn_high.astype(duty.dtype) - low)
    if low.any():
        burnt += low * running
        return burnt, np.where(low > 0, running, at_full) / 3600
    return burnt, at_full / duty.dtype.type(3600)
