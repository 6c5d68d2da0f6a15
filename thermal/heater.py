"""The heater: what its thermostat really holds on average, what it burns, how long its engine runs."""

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from thermal.box import Network
from thermal.columns import Columns
from thermal.ranges import Array

__all__ = ["Thermostat", "duty_of", "thermostat_of", "use_of"]

SHORTEST_LAG_S = 1.0
LOWEST_DUTY = 0.02
LONGEST_RUN_S = 6 * 3600.0
# Closer together at small duties, where the cycle changes fastest.
TABLE_DUTY = LOWEST_DUTY + (1 - LOWEST_DUTY) * np.linspace(0.0, 1.0, 33) ** 2


@dataclass(frozen=True, slots=True)
class Thermostat:
    """The periodic on/off cycle of heaters, tabulated over duty; see `thermostat_of` and `Thermostat.at`.

    level [K], swept [J], period [s]: shape (duties, w) at `TABLE_DUTY`. Shapes (w,): hysteresis [K]; swing [W]; ua
    and air_sum [W/K] of the box; edge_gain [K/J] of the edge per heat in the air; edge_rate [1/s] at which it
    forgets.
    """

    level: Array
    swept: Array
    period: Array
    hysteresis: Array
    swing: Array
    ua: Array
    air_sum: Array
    edge_gain: Array
    edge_rate: Array

    def take(self, which: slice | list[int]) -> "Thermostat":
        """Return the thermostats of the columns at these places, in that order."""
        return Thermostat(*(getattr(self, f.name)[..., which] for f in fields(self)))

    def at(self, duty: Array) -> tuple[Array, Array]:
        """Return what the cycle adds to an averaged heater at `duty`: mean air minus set point, and the edge's dip,
        K.

        Parameters
        ----------
        duty : ndarray, shape (s, w)
            Share of the span between low and high fire that the heater gives [-].

        Returns
        -------
        offset, dip : ndarray, shape (s, w)
            Mean air temperature of the cycle minus the set point, and how far the edge of the load falls below its
            mean within a cycle [K].
        """
        h = self.hysteresis
        d = np.clip(duty, LOWEST_DUTY, 1.0)
        level, swept, period = self._between(d)
        steady = level + d * self.swing / self.air_sum
        share = _sagging(steady + h, duty * self.swing / self.ua - h)
        offset: Array = (steady + h) * share - h
        gained = share * self.edge_gain * swept
        fade = np.maximum(self.edge_rate * period, 1e-6)
        # 1/x - 1/(e^x - 1), written so that a long period cannot overflow.
        dip: Array = gained * (1 / fade + np.exp(-fade) / np.expm1(-fade))
        return offset, dip

    def _between(self, duty: Array) -> tuple[Array, Array, Array]:
        """Return level, swept heat and period at `duty` by linear interpolation in the table."""
        place = np.sqrt((duty - LOWEST_DUTY) / (1 - LOWEST_DUTY)) * (len(TABLE_DUTY) - 1)
        low = np.minimum(place.astype(np.intp), len(TABLE_DUTY) - 2)
        share = place - low
        here = low * duty.shape[1] + np.arange(duty.shape[1])
        after = here + duty.shape[1]

        def at(table: Array) -> Array:
            # By one index into the flat table: two indices take three times as long.
            below: Array = table.ravel().take(here)
            between: Array = table.ravel().take(after)
            between -= below
            between *= share
            between += below
            return between

        return at(self.level), at(self.swept), at(self.period)


def thermostat_of(net: Network, columns: Columns) -> Thermostat:
    """Return the thermostats of `columns` on the boxes `net`.

    Notes
    -----
    A relay at +-h with a first-order coolant lag and minimum on and off times, over lining and edge of the load as
    integrators, `B = (G_l/SG)^2/C_l + (G_e/SG)^2/C_e`, is solved in closed form for its periodic cycle:
    `offset = -h - q0/SG + B I/(t_on + t_off) + d Q/SG`. It is not small: a unit that must run ten minutes averages
    0.6 K above its set point. Above the duty that the minimum times allow, the part without `d Q/SG` goes linearly to
    the value where the air peaks at +h with the heater always on. The edge gains `P = (G_e/C_e) J/SG` in a run, J the
    heat above the mean, and loses it with rate x in a period: `dip = P (1/x - 1/(e^x - 1))`. Near the duty where the
    heater never starts, the air sags towards its rest instead of falling straight, and both shrink. Measured against
    resolved cycles in the tests.
    """
    rate = (net.film / net.air_sum) ** 2 / net.c_lining + (net.edge / net.air_sum) ** 2 / net.c_edge
    swing = columns.q_max - columns.q_low
    duty = np.minimum(TABLE_DUTY[:, None], 0.98) * np.ones_like(swing)
    level, swept, period = _level(duty, columns, swing, net.air_sum, rate)
    return Thermostat(
        level=level,
        swept=swept,
        period=period,
        hysteresis=columns.hysteresis,
        swing=swing,
        ua=net.ua,
        air_sum=net.air_sum,
        edge_gain=net.edge / net.c_edge / net.air_sum,
        edge_rate=(net.edge + net.bulk) / net.c_edge,
    )


def _sagging(rise: Array, below: Array) -> Array:
    """Return how much of a mean rise above the lower end of the band is left when the air sags instead of falling
    straight.

    `rise` [K] is the mean of a straight fall from twice as high; `below` [K] is how far under the band the air would
    settle without a start. In mild weather it settles inside the band, and the heater never starts: 0.
    """
    peak = 2 * np.maximum(rise, 1e-3)
    deep = np.maximum(below, 1e-6)
    left = (peak / np.log1p(peak / deep) - deep) / (peak / 2)
    return np.where(below > 0, np.clip(left, 0.0, 1.0), 0.0)


def _level(d: Array, columns: Columns, swing: Array, air_sum: Array, rate: Array) -> tuple[Array, Array, Array]:
    """Return the stores' mean share in the air relative to the set point [K], heat above the mean [J], the period
    [s]."""
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
    # Up to the duty that the minimum times allow, the heater starts as the air falls to -h; beyond it, the shortest
    # stop ends each pause, and the heater stops as the air reaches +h.
    at_start, at_stop = -h - q0 / air_sum, h - q1 / air_sum - rate * stored
    shortest_stop = columns.min_off * d > columns.min_on * (1 - d)
    level: Array = np.where(shortest_stop, at_stop, at_start) + rate * double / (on + off)
    # Above the mean between the two moments at which the delayed heat passes it.
    late_on = lag * np.log((swing - q0) / (swing - held))
    late_off = lag * np.log(np.maximum(q1 / held, 1.0))
    swept = (swing - held) * (on - late_on) - held * late_off
    return level, np.maximum(swept, 0.0), on + off


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
    `B' = b_low + duty (b_high - b_low)`. Engine hours grow with the duty of a start-stop heater, and all the time for
    one with a low fire.
    """
    at_full = np.zeros((len(duty) + 1, duty.shape[1]), dtype=duty.dtype)
    np.multiply(duty, run_s.astype(duty.dtype)[:, None], out=at_full[1:])
    # Row by row: `np.cumsum` along the first axis goes down each column in turn and takes six times as long.
    for before, after in pairwise(at_full):
        np.add(before, after, out=after)
    running = np.concatenate([[0.0], np.cumsum(run_s)]).astype(duty.dtype)[:, None]
    low = columns.burn_low.astype(duty.dtype)
    burnt = at_full * (columns.burn_high.astype(duty.dtype) - low)
    if low.any():
        burnt += low * running
        return burnt, np.where(low > 0, running, at_full) / 3600
    return burnt, at_full / duty.dtype.type(3600)
