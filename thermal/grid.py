"""The time grid of a trip: whole hours, every start and end of a stop, finer nodes where the box starts cold.

Two-hour steps miss the minimum after a door stop, so an hour is the coarsest step. One grid serves every unit and
every sampled world of a trip.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermal.params import Stop, Trip
from thermal.ranges import Array

__all__ = ["Grid", "grid_of"]

Index = NDArray[np.intp]
COLD_START_H = (1 / 12, 1 / 6, 0.25, 0.375, 0.5, 0.75, 1.5)
FLOAT_H = (0.25, 0.5)
AFTER_STOP_H = (0.08, 0.2, 0.35, 0.55, 0.8, 1.2)
SAME_H = 1e-6


@dataclass(frozen=True, slots=True)
class Grid:
    """Nodes and steps of a trip; s steps, k kinds of step, d door states, j hours.

    time_h (s + 1,); dt_s (s,); kind (s,) index into kind_door, kind_dt_s (k,); open_share (d,), span_k (d,) of the
    door states, state 0 is shut; hour (s,) and weight (s,): the mean ambient of a step is
    `(1 - weight) A[hour] + weight A[hour + 1]`; off (s,) no heat by plan; leg (s,) counts refuels; at_hour (j + 1,)
    node of each whole hour; open_h (j + 1,) cumulated hours with doors open.
    """

    time_h: Array
    dt_s: Array
    kind: Index
    kind_door: Index
    kind_dt_s: Array
    open_share: Array
    span_k: Array
    hour: Index
    weight: Array
    off: NDArray[np.bool_]
    door: Index
    leg: Index
    at_hour: Index
    cold_start: bool

    def step_means(self, hourly: Array) -> Array:
        """Return the mean over each step of values given at whole hours; leading axis (j + 1) becomes (s,)."""
        w = self.weight.reshape((-1,) + (1,) * (hourly.ndim - 1))
        means: Array = (1 - w) * hourly[self.hour] + w * hourly[self.hour + 1]
        return means

    @property
    def legs(self) -> int:
        return int(self.leg[-1]) + 1


def grid_of(
    trip: Trip,
    *,
    cold_start: bool = False,
    extra_h: Sequence[float] = (),
    dry: Sequence[tuple[float, float]] = (),
    step_h: float = 1.0,
) -> Grid:
    """Return the grid of `trip`.

    Parameters
    ----------
    trip : Trip
        Hours, ambient, stops.
    cold_start : bool
        Add fine nodes in the first hour, where a box that starts off its set point has its extremes.
    extra_h : sequence of float
        More nodes [h].
    dry : sequence of (from, until)
        Spans without heat because the tank is empty [h]; their ends become nodes.
    step_h : float
        Longest step, a whole part of an hour [h].
    """
    time_h = _nodes(trip, cold_start=cold_start, extra_h=extra_h, dry=dry, step_h=step_h)
    mid = (time_h[1:] + time_h[:-1]) / 2
    hour = np.minimum(mid.astype(np.intp), trip.hours - 1)
    stop_of = _stop_at(trip.stops, mid)
    door, open_share, span_k = _doors(trip, stop_of)
    dt_s = np.round(np.diff(time_h) * 3600.0, 6)
    pairs, kind = np.unique(np.stack([door.astype(float), dt_s]), axis=1, return_inverse=True)
    off = np.array([s >= 0 and trip.stops[s].heater_off for s in stop_of])
    for start, until in dry:
        off |= (mid > start) & (mid < until)
    fills = np.array([stop.at_h for stop in trip.stops if stop.refuel])
    return Grid(
        time_h=time_h,
        dt_s=dt_s,
        kind=kind.reshape(-1).astype(np.intp),
        kind_door=pairs[0].astype(np.intp),
        kind_dt_s=pairs[1],
        open_share=open_share,
        span_k=span_k,
        hour=hour,
        weight=mid - hour,
        off=off,
        door=door,
        leg=np.searchsorted(fills, mid).astype(np.intp),
        at_hour=np.searchsorted(time_h, np.arange(trip.hours + 1) - SAME_H).astype(np.intp),
        cold_start=cold_start,
    )


def _nodes(
    trip: Trip, *, cold_start: bool, extra_h: Sequence[float], dry: Sequence[tuple[float, float]], step_h: float
) -> Array:
    """Return the nodes of the grid, h, ascending and distinct."""
    ends = [h for stop in trip.stops for h in (stop.at_h, stop.end_h)]
    # Where doors were open or the heater was off, the coldest moment comes a little after the stop.
    ends += [s.end_h + h for s in trip.stops if s.open_share > 0 or s.heater_off for h in AFTER_STOP_H]
    ends += [h for span in dry for h in span]
    knots = np.concatenate(
        [
            np.arange(trip.hours + 1, dtype=float),
            np.array([h for h in (*ends, *extra_h) if 0 < h < trip.hours]),
            np.array(COLD_START_H if cold_start else FLOAT_H),
            np.arange(0.0, trip.hours, step_h) if step_h < 1 else np.array(()),
        ]
    )
    return _distinct(knots)


def _distinct(knots: Array) -> Array:
    """Return sorted knots without near-doubles; whole hours win over what lies beside them."""
    whole = np.abs(knots - np.round(knots)) < SAME_H
    exact = np.unique(np.where(whole, np.round(knots), knots))
    keep = np.concatenate([[True], np.diff(exact) > SAME_H])
    distinct: Array = exact[keep]
    return distinct


def _stop_at(stops: Sequence[Stop], mid: Array) -> Index:
    at = np.full(len(mid), -1, dtype=np.intp)
    for i, stop in enumerate(stops):
        at[(mid > stop.at_h) & (mid < stop.end_h)] = i
    return at


def _doors(trip: Trip, stop_of: Index) -> tuple[Index, Array, Array]:
    """Return the door state of each step, and share and driving difference of each state (0 is shut)."""
    shares, spans = [0.0], [1.0]
    door = np.zeros(len(stop_of), dtype=np.intp)
    hours = np.arange(trip.hours + 1)
    for i, stop in enumerate(trip.stops):
        if stop.open_share > 0:
            middle = np.interp((stop.at_h + stop.end_h) / 2, hours, trip.ambient_c)
            door[stop_of == i] = len(shares)
            shares.append(stop.open_share)
            spans.append(max(abs(trip.set_point_c - float(middle)), 1.0))
    return door, np.array(shares), np.array(spans)
