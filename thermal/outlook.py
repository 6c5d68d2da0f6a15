"""The trip as planned for many units at once: what readiness asks of the nominal path, from one march of all of them.

The same numbers as `thermal.nominal` gives unit by unit; a unit whose tank runs dry is marched once more on its own,
because the moment it is dry is a node of its own grid.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from thermal.capacity import Capacity, capacities_of
from thermal.columns import columns_of
from thermal.fuel import Leg, legs_of, legs_with
from thermal.nominal import March, dry_spans, extremes_of, march_of
from thermal.params import Load, Risk, Trip, Unit
from thermal.paths import fuel_and_hours, lag_burn_l
from thermal.prepared import Prepared, prepare
from thermal.ranges import Array

__all__ = ["Outlook", "outlooks", "with_fuel"]

# Units per chunk: wide enough that numpy's own cost per call does not count, narrow enough for the second cache.
CHUNK = 512

Extremes = tuple[float, float, float] | tuple[None, None, None]
EMPTY: Extremes = (None, None, None)


class Outlook(NamedTuple):
    """What the plan says of one unit without uncertainty; fields as in `thermal.nominal.Nominal`.

    coldest_edge_c at coldest_edge_h, warmest_c of edge or core [degC, h], None for an empty box; fuel_out_h when the
    tank runs dry, None when it does not [h]; legs between fills; damage_after_h[i] hours from whole hour i until the
    edge reaches the damage limit without heat, inf when not before arrival; heated: the first three with a tank that
    never runs dry.
    """

    coldest_edge_c: float | None
    coldest_edge_h: float | None
    warmest_c: float | None
    fuel_out_h: float | None
    legs: tuple[Leg, ...]
    capacity: Capacity
    damage_after_h: Array
    heated: Extremes


def outlooks(
    units: Sequence[Unit], *, load: Load | None, trip: Trip, risk: Risk, prepared: Prepared | None = None
) -> list[Outlook]:
    """Return one outlook per unit, in the order of `units`.

    Parameters
    ----------
    units : sequence of Unit
        Boxes, heaters, fuel.
    load : Load or None
        What is carried; None or zero mass: an empty box.
    trip : Trip
        The trip, the same for all of them.
    risk : Risk
        Only for the chance of each leg to end above its reserve.
    prepared : Prepared, optional
        What `thermal.prepared.prepare` made of the same units and load, where the score needs it too. Its own risks
        of the units replace those of `risk`.

    Notes
    -----
    The answer for a unit does not depend on the others beside the order in which numpy adds: it agrees with
    `nominal` within 1e-9 of a kelvin, a litre or an hour (tests).
    """
    laden = load if load is not None and load.mass_kg > 0 else None
    if not units:
        return []
    known = prepare(units, laden, [risk] * len(units)) if prepared is None else prepared
    parts = [slice(start, start + CHUNK) for start in range(0, len(units), CHUNK)]
    return [one for part in parts for one in _chunk(units[part], known.take(part), laden, trip, risk)]


def _chunk(units: Sequence[Unit], prepared: Prepared, load: Load | None, trip: Trip, risk: Risk) -> list[Outlook]:
    columns = prepared.columns
    plan = march_of(columns, load, trip, dry=[], thermostat=prepared.thermostat)
    burnt = fuel_and_hours(plan.model, plan.paths)[0]
    burnt += lag_burn_l(plan.model) * (plan.grid.time_h > 0)[:, None]
    reserves = [unit.reserve_l for unit in units]
    legs = legs_of(plan.grid, trip, burnt, columns, reserve_l=reserves, risk=risk, sd_burn=prepared.own.sd_ln_burn)
    damage = _damage_after_h(plan, trip=trip, load=load)
    extremes = _extremes(plan, load)
    capacities = capacities_of(columns, trip)
    found = []
    for i, heated in enumerate(extremes):
        outlook = _outlook(heated, None, legs[i], capacities[i], damage[:, i], heated)
        found.append(_with_dry_tank(outlook, units[i], load, trip, plan=plan, burnt=burnt[:, i]))
    return found


def _extremes(plan: March, load: Load | None) -> list[Extremes]:
    """Return for each column the coldest edge [degC], when [h], and the warmest of edge and core [degC]."""
    if load is None:
        return [EMPTY] * plan.model.columns.width
    edge, core = plan.paths.x[:, 1], plan.paths.x[:, 2]
    low = edge - plan.dip
    at = low.argmin(axis=0)
    coldest = low[at, np.arange(low.shape[1])]
    warmest = np.maximum(edge.max(axis=0), core.max(axis=0))
    return list(zip(coldest.tolist(), plan.grid.time_h[at].tolist(), warmest.tolist(), strict=True))


def _with_dry_tank(
    outlook: Outlook, unit: Unit, load: Load | None, trip: Trip, *, plan: March, burnt: Array
) -> Outlook:
    """Return the outlook of a unit whose tank may run dry: then its box cools on a march of its own."""
    if all(leg.need_l <= leg.have_l for leg in outlook.legs):
        return outlook
    columns = columns_of([unit])
    dry = dry_spans(plan.grid, trip, burnt, columns)
    if not dry:
        return outlook
    cooled = extremes_of(march_of(columns, load, trip, dry=dry)) if load is not None else EMPTY
    return _outlook(cooled, dry[0][0], outlook.legs, outlook.capacity, outlook.damage_after_h, outlook.heated)


def _outlook(
    met: Extremes, fuel_out_h: float | None, legs: tuple[Leg, ...], capacity: Capacity, damage: Array, heated: Extremes
) -> Outlook:
    coldest_c, coldest_h, warmest_c = met
    return Outlook(coldest_c, coldest_h, warmest_c, fuel_out_h, legs, capacity, damage, heated)


def with_fuel(outlook: Outlook, fuel_l: float, *, unit: Unit, load: Load | None, trip: Trip, risk: Risk) -> Outlook:
    """Return the outlook of the same unit and plan with `fuel_l` in the tank at the start [L].

    What the plan burns does not depend on the tank, so nothing is marched again unless the tank would still run dry.
    """
    legs = legs_with(outlook.legs, fuel_l, unit=unit, trip=trip, risk=risk)
    if any(leg.need_l > leg.have_l for leg in legs):
        return outlooks([replace(unit, fuel_l=fuel_l)], load=load, trip=trip, risk=risk)[0]
    return _outlook(outlook.heated, None, legs, outlook.capacity, outlook.damage_after_h, outlook.heated)


def _damage_after_h(plan: March, *, trip: Trip, load: Load | None) -> Array:
    """Return hours from each whole hour until the edge reaches the damage limit if heat stops there, (j + 1, w).

    Every branch is marched through the doors that really open after it, all branches of all columns side by side.
    """
    grid, steps = plan.grid, plan.model.steps
    found = np.full((trip.hours + 1, plan.model.columns.width), np.inf)
    if load is None:
        return found
    limit_c = load.damage_limit_c
    x = np.ascontiguousarray(np.moveaxis(plan.paths.x[grid.at_hour], 1, 0))
    found[x[1] <= limit_c] = 0.0
    pending = np.isinf(found)
    drift = steps.ambient[:, grid.kind] * plan.ambient[:, 0, None] + steps.own[:, grid.kind]
    matrices = np.ascontiguousarray(steps.m.transpose(2, 0, 1, 3))
    started = np.searchsorted(grid.at_hour, np.arange(len(grid.dt_s)), side="right").tolist()
    done = 0  # hours before this one are answered for every column
    for s, kind in enumerate(grid.kind.tolist()):
        old = x[:, done : started[s]]
        new = np.einsum("ijw,jbw->ibw", matrices[kind], old) + drift[:, s, None]
        crossed = (new[1] <= limit_c) & pending[done : started[s]]
        if crossed.any():
            row, column = np.nonzero(crossed)
            above, below = old[1, row, column], new[1, row, column]
            share = (above - limit_c) / (above - below)
            found[done + row, column] = grid.time_h[s] + share * grid.dt_s[s] / 3600.0 - (done + row)
            pending[done + row, column] = False
        x[:, done : started[s]] = new
        while done < started[s] and not pending[done].any():
            done += 1
    return found
