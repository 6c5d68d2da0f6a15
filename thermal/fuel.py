"""Fuel: what each leg between fills needs, how long the tank lasts, and what running dry would cost."""

from collections.abc import Sequence
from itertools import pairwise
from math import hypot
from typing import NamedTuple

import numpy as np

from thermal.columns import Columns
from thermal.grid import Grid
from thermal.normal import normal_cdf, normal_cdf_exact
from thermal.params import Risk, Trip, Unit
from thermal.paths import Model
from thermal.ranges import Array

__all__ = ["Leg", "endurance_h", "first_dry_h", "fuel_loss", "leg_bounds", "legs_of", "legs_with"]

SURE_SPREADS = 6.0
SMALLEST_SPREAD_L = 1e-6
# Assumption: from a planned fill until an engine that had run dry heats again.
RESTART_H = 3.0


class Leg(NamedTuple):
    """A part of the trip between fills: hours, litres needed, litres at hand, chance to end it above the reserve."""

    start_h: float
    end_h: float
    need_l: float
    have_l: float
    chance_above_reserve: float


def leg_bounds(grid: Grid, trip: Trip) -> list[tuple[float, float]]:
    """Return start and end of each leg [h]; a tank is filled at the start of a refuelling stop."""
    fills = [stop.at_h for stop in trip.stops if stop.refuel and stop.at_h > 0]
    edges = [0.0, *fills, float(trip.hours)]
    return list(pairwise(edges))


def legs_of(
    grid: Grid,
    trip: Trip,
    burnt: Array,
    columns: Columns,
    *,
    reserve_l: Sequence[float],
    risk: Risk,
    sd_burn: Array | None = None,
) -> list[tuple[Leg, ...]]:
    """Return the legs of each column; `burnt` (s + 1, w) is cumulated fuel at the nodes, `reserve_l` (w,) [L].

    `sd_burn` (w,) replaces the risk's spread of ln burn where it differs between columns.

    The chance is `Phi((have - reserve - need)/sqrt(gauge^2 + (sd_burn need)^2))`; the gauge's error counts on the
    first leg only, because later legs start from a full tank.
    """
    by_leg, sds = [], [risk.sd_ln_burn] * columns.width if sd_burn is None else sd_burn.tolist()
    for i, (start, end) in enumerate(leg_bounds(grid, trip)):
        need = (_burnt_at(grid, burnt, end) - _burnt_at(grid, burnt, start)).tolist()
        have = _at_hand(columns, trip, first=i == 0).tolist()
        gauges = columns.tank * (risk.sd_gauge_share if i == 0 and not _filled_at_start(trip) else 0.0)
        by_leg.append(
            [
                _leg(start, end, need_l, have_l, usable_l=have_l - kept_l, gauge_l=gauge_l, sd_burn=sd)
                for need_l, have_l, kept_l, gauge_l, sd in zip(need, have, reserve_l, gauges.tolist(), sds, strict=True)
            ]
        )
    return list(zip(*by_leg, strict=True))


def _leg(
    start_h: float, end_h: float, need_l: float, have_l: float, *, usable_l: float, gauge_l: float, sd_burn: float
) -> Leg:
    spread = max(hypot(gauge_l, sd_burn * need_l), SMALLEST_SPREAD_L)
    return Leg(start_h, end_h, need_l, have_l, normal_cdf_exact((usable_l - need_l) / spread))


def legs_with(legs: tuple[Leg, ...], fuel_l: float, *, unit: Unit, trip: Trip, risk: Risk) -> tuple[Leg, ...]:
    """Return the legs of the same plan with `fuel_l` in the tank at the start: what is needed stays [L]."""
    if _filled_at_start(trip):
        return legs
    first = legs[0]
    gauge_l = risk.sd_gauge_share * unit.heater.tank_l
    usable_l = fuel_l - unit.reserve_l
    sd_burn = risk.sd_ln_burn
    again = _leg(first.start_h, first.end_h, first.need_l, fuel_l, usable_l=usable_l, gauge_l=gauge_l, sd_burn=sd_burn)
    return (again, *legs[1:])


def endurance_h(grid: Grid, burnt: Array, columns: Columns) -> tuple[float | None, float]:
    """Return how long the fuel at hand lasts, h: on the nominal burn (None: longer than the trip), and at full
    fire."""
    fuel = float(columns.fuel[0])
    out = first_dry_h(grid.time_h, burnt, fuel)
    return out, fuel / (float(columns.burn_high[0]) * 3600.0) if columns.burn_high[0] > 0 else np.inf


def first_dry_h(time_h: Array, burnt: Array, fuel_l: float) -> float | None:
    """Return when the cumulated burn `burnt` [L] passes `fuel_l`, h, or None."""
    if burnt[-1] <= fuel_l:
        return None
    i = max(int(np.searchsorted(burnt, fuel_l, side="right")), 1)
    share = (fuel_l - burnt[i - 1]) / (burnt[i] - burnt[i - 1])
    return float(time_h[i - 1] + share * (time_h[i] - time_h[i - 1]))


def fuel_loss(
    model: Model, burnt: Array, *, late: Array, hold_h: Array, risk: Risk, sd_burn: Array, trip: Trip, every: int
) -> Array:
    """Return the chance that running dry ruins the load in each world, shape (w,).

    Parameters
    ----------
    model : Model
        Columns (w).
    burnt : ndarray, shape (s + 1, w)
        Cumulated fuel at the nodes without a limit [L].
    late : ndarray, shape (j, w)
        Chance that help is late for a loss of heat at each looked-at hour [-].
    hold_h : ndarray, shape (j, w)
        Hours from a loss of heat to damage at each looked-at hour, inf when not before arrival [h].
    sd_burn : ndarray, shape (w,)
        Spread of ln burn [-].
    risk, trip, every
        Uncertainties, fills, hours between looked-at moments.

    Notes
    -----
    In each leg the chance to be dry by hour j is `1 - Phi((F0 - B_j)/sqrt(gauge^2 + (sd_burn B_j)^2))`. A load that
    lasts until `RESTART_H` after the next planned fill is not lost: an engine that ran dry must be bled before it
    runs.
    """
    grid, columns = model.grid, model.columns
    at = np.arange(len(grid.at_hour))[::every]
    nodes = burnt[grid.at_hour[::every]]
    kept = np.ones(columns.width)
    for i, (start, end) in enumerate(leg_bounds(grid, trip)):
        b0, b1 = _burnt_at(grid, burnt, start), _burnt_at(grid, burnt, end)
        have = _at_hand(columns, trip, first=i == 0)
        gauge = risk.sd_gauge_share * columns.tank if i == 0 and not _filled_at_start(trip) else 0.0 * columns.tank
        need = b1 - b0
        unsure = np.flatnonzero(have - need <= SURE_SPREADS * np.hypot(gauge, sd_burn * need))
        if len(unsure) == 0:
            continue
        back = end + RESTART_H if end < trip.hours else np.inf
        inside = (at < end)[:, None]
        lost = np.where(inside & (at[:, None] + hold_h[:, unsure] < back), late[:, unsure], 0.0)
        used = np.clip(nodes[:, unsure], b0[unsure], b1[unsure]) - b0[unsure]
        spread = np.maximum(np.hypot(gauge[unsure], sd_burn[unsure] * used), SMALLEST_SPREAD_L)
        dry = 1.0 - normal_cdf((have[unsure] - used) / spread)
        newly = np.diff(dry, axis=0)
        newly[0] += dry[0] if start == 0 else 0.0
        after = np.where(inside[1:], lost[1:], lost[:-1])
        kept[unsure] *= 1.0 - (newly * (lost[:-1] + after) / 2).sum(axis=0)
    return 1.0 - np.clip(kept, 0.0, 1.0)


def _burnt_at(grid: Grid, burnt: Array, hour: float) -> Array:
    """Return cumulated fuel at a time that is a node of the grid, shape (w,)."""
    row: Array = burnt[int(np.searchsorted(grid.time_h, hour - 1e-6))]
    return row


def _filled_at_start(trip: Trip) -> bool:
    return any(stop.refuel and stop.at_h == 0 for stop in trip.stops)


def _at_hand(columns: Columns, trip: Trip, *, first: bool) -> Array:
    return columns.fuel if first and not _filled_at_start(trip) else columns.tank
