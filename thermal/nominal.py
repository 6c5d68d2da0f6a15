"""The trip as planned: one path without uncertainty, with the tank that may run dry, and what it says hour by
hour."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from thermal.capacity import Capacity, capacity_of
from thermal.cargo import branch_times, plateau_h
from thermal.columns import Columns, columns_of
from thermal.fuel import Leg, endurance_h, first_dry_h, leg_bounds, legs_of
from thermal.grid import Grid, grid_of
from thermal.heater import Thermostat
from thermal.params import Load, Risk, Trip, Unit
from thermal.paths import (
    Model,
    Paths,
    air_at,
    fuel_and_hours,
    holding_of,
    lag_burn_l,
    model_of,
    propagate,
    start_state,
)
from thermal.ranges import Array
from thermal.worlds import starts_cold

__all__ = ["Hours", "March", "Nominal", "burnt_of", "dry_spans", "extremes_of", "left_l", "march_of", "nominal"]

STEP_H = 0.5


@dataclass(frozen=True, slots=True)
class Hours:
    """The nominal path at whole hours, shape (hours + 1,) each; edge and core are None for an empty box.

    air_c, edge_c, core_c [degC]; heat_kw: mean over the hour that begins there, at arrival the last one [kW];
    fuel_l: burnt since departure [L].
    """

    at_h: Array
    air_c: Array
    edge_c: Array | None
    core_c: Array | None
    heat_kw: Array
    fuel_l: Array


@dataclass(frozen=True, slots=True)
class Nominal:
    """What the plan says without uncertainty.

    coldest_edge_c at coldest_edge_h, warmest_c of edge or core [degC, h], None for an empty box; fuel_l burnt [L];
    fuel_out_h when the tank runs dry, None when it does not [h]; engine_h; legs between fills; endurance_h on the
    nominal burn (None: longer than the trip) and endurance_full_fire_h of the fuel at hand [h]; damage_after_h[i]
    hours from whole hour i until the edge reaches the damage limit without heat, inf when not before arrival;
    plateau_h[i] hours it then stays at the freezing point until the edge is frozen through, inf when it does not get
    there [h].
    """

    coldest_edge_c: float | None
    coldest_edge_h: float | None
    warmest_c: float | None
    fuel_l: float
    fuel_out_h: float | None
    engine_h: float
    legs: tuple[Leg, ...]
    endurance_h: float | None
    endurance_full_fire_h: float
    capacity: Capacity
    damage_after_h: Array
    plateau_h: Array
    hours: Hours


class March(NamedTuple):
    """Columns (w) marched over a grid: ambient of each step (s, 1), the edge's dip in a cycle at the nodes (s + 1, w)
    [K]."""

    grid: Grid
    model: Model
    paths: Paths
    ambient: Array
    dip: Array


def nominal(unit: Unit, *, load: Load | None, trip: Trip, risk: Risk | None = None) -> Nominal:
    """Return the nominal forecast of one unit on one trip.

    Parameters
    ----------
    unit : Unit
        Box, heater, fuel.
    load : Load or None
        What is carried; None or zero mass: an empty box.
    trip : Trip
        The trip.
    risk : Risk, optional
        Only for the chance of each leg to end above its reserve; defaults to `Risk()`.
    """
    columns = columns_of([unit])
    laden = load if load is not None and load.mass_kg > 0 else None
    plan = endless = march_of(columns, laden, trip, dry=[])
    burnt = burnt_of(plan)[0]
    legs = legs_of(
        plan.grid, trip, burnt[:, None], columns, reserve_l=[unit.reserve_l], risk=Risk() if risk is None else risk
    )[0]
    lasts = endurance_h(plan.grid, burnt, columns)
    dry = dry_spans(plan.grid, trip, burnt, columns)
    if dry:
        plan = march_of(columns, laden, trip, dry=dry)
        burnt = _within_tank(burnt_of(plan)[0], plan.grid, trip, columns)
    engine = burnt_of(plan)[1]
    damage, plateau = _without_heat(endless, trip=trip, load=laden)
    coldest, coldest_h, warmest = extremes_of(plan) if laden else (None, None, None)
    return Nominal(
        coldest_edge_c=coldest,
        coldest_edge_h=coldest_h,
        warmest_c=warmest,
        fuel_l=float(burnt[-1]),
        fuel_out_h=dry[0][0] if dry else None,
        engine_h=float(engine[-1]),
        legs=legs,
        endurance_h=lasts[0],
        endurance_full_fire_h=lasts[1],
        capacity=capacity_of(columns, trip),
        damage_after_h=damage,
        plateau_h=plateau,
        hours=_hours(plan, burnt, laden=laden is not None),
    )


def burnt_of(plan: March) -> tuple[Array, Array]:
    """Return cumulated fuel [L] and engine hours at the nodes, shape (s + 1,) each, the cold start's included."""
    burnt, engine = fuel_and_hours(plan.model, plan.paths)
    waiting = lag_burn_l(plan.model)[0] * (plan.grid.time_h > 0)
    return burnt[:, 0] + waiting, engine[:, 0]


def extremes_of(plan: March) -> tuple[float, float, float]:
    """Return the first column's coldest edge [degC], when [h], and warmest of edge and core [degC], the cycle's dip
    included."""
    edge, core = plan.paths.x[:, 1, 0], plan.paths.x[:, 2, 0]
    low = edge - plan.dip[:, 0]
    at = int(low.argmin())
    return float(low[at]), float(plan.grid.time_h[at]), float(np.maximum(edge, core).max())


def march_of(
    columns: Columns,
    load: Load | None,
    trip: Trip,
    *,
    dry: list[tuple[float, float]],
    thermostat: Thermostat | None = None,
) -> March:
    """Return the plan of the columns (w) without uncertainty; `dry`: spans in which no tank holds fuel [h];
    `thermostat`: theirs, if already known."""
    grid = grid_of(trip, cold_start=starts_cold(trip), dry=dry, step_h=STEP_H)
    model = model_of(grid, columns, load)
    ambient = grid.step_means(np.array(trip.ambient_c))[:, None]
    holding = holding_of(columns, load, trip, grid, ambient, thermostat=thermostat)
    start = start_state(model.net, trip, load)
    paths = propagate(model, set_c=holding.air_c, ambient=ambient, start=start, unheated=False)
    return March(grid, model, paths, ambient, np.concatenate([np.zeros((1, columns.width)), holding.dip_k]))


def _in_tank_l(trip: Trip, columns: Columns, leg: int) -> float:
    filled_first = any(stop.refuel and stop.at_h == 0 for stop in trip.stops)
    return float(columns.tank[0] if leg or filled_first else columns.fuel[0])


def dry_spans(grid: Grid, trip: Trip, burnt: Array, columns: Columns) -> list[tuple[float, float]]:
    """Return the spans without fuel: from when a leg's tank is empty until the next fill or the end of the trip."""
    spans = []
    for leg, (start, end) in enumerate(leg_bounds(grid, trip)):
        inside = (grid.time_h >= start - 1e-6) & (grid.time_h <= end + 1e-6)
        used = burnt[inside] - burnt[inside][0]
        out = first_dry_h(grid.time_h[inside], used, _in_tank_l(trip, columns, leg))
        if out is not None:
            spans.append((out, end))
    return spans


def _within_tank(burnt: Array, grid: Grid, trip: Trip, columns: Columns) -> Array:
    """Return cumulated fuel that never exceeds what each leg had; the second march may differ by a hair."""
    steps = np.diff(burnt, prepend=0.0)
    for leg, (start, end) in enumerate(leg_bounds(grid, trip)):
        inside = (grid.time_h > start + 1e-6) & (grid.time_h <= end + 1e-6)
        used = np.minimum(np.cumsum(steps[inside]), _in_tank_l(trip, columns, leg))
        steps[inside] = np.diff(used, prepend=0.0)
    total: Array = np.cumsum(steps)
    return total


def left_l(burnt: Array, grid: Grid, trip: Trip, columns: Columns) -> tuple[Array, Array]:
    """Return moments [h] and what is in the first column's tank then [L]; the moment of a fill stands twice, before and
    after it."""
    used = _within_tank(burnt, grid, trip, columns)
    at_h, left = [], []
    for leg, (start, end) in enumerate(leg_bounds(grid, trip)):
        inside = (grid.time_h >= start - 1e-6) & (grid.time_h <= end + 1e-6)
        at_h.append(grid.time_h[inside])
        left.append(_in_tank_l(trip, columns, leg) - (used[inside] - used[inside][0]))
    return np.concatenate(at_h), np.concatenate(left)


def _without_heat(plan: March, *, trip: Trip, load: Load | None) -> tuple[Array, Array]:
    """Return time to damage and plateau for heat that stops at each whole hour, inf where it does not come to
    that."""
    if load is None:
        never = np.full(trip.hours + 1, np.inf)
        return never, never
    limits = (load.damage_limit_c, load.freezes_c)
    reached, state = branch_times(plan.model, plan.paths, ambient=plan.ambient, limits_c=limits)
    plateau = plateau_h(
        plan.model.net,
        from_h=np.arange(trip.hours + 1) + reached[1],
        state=state[1],
        freezes_c=load.freezes_c,
        latent_j=load.latent_kj_kg * 1e3 * load.edge_share * load.mass_kg,
        ambient_c=np.array(trip.ambient_c),
    )
    return reached[0], plateau


def _hours(plan: March, burnt: Array, *, laden: bool) -> Hours:
    grid, model, paths = plan.grid, plan.model, plan.paths
    at = grid.at_hour
    air = air_at(model, paths, plan.ambient)[:, 0]
    first = model.net.film * paths.x[0, 0] + model.net.edge * paths.x[0, 1]
    energy = np.concatenate([[0.0], np.cumsum(paths.heat[:, 0] * grid.dt_s)])[at]
    heat = np.diff(energy) / 3600.0 / 1000.0
    return Hours(
        at_h=np.arange(len(at)).astype(float),
        air_c=np.concatenate([first / model.net.air_sum, air])[at],
        edge_c=paths.x[at, 1, 0] if laden else None,
        core_c=paths.x[at, 2, 0] if laden else None,
        heat_kw=np.concatenate([heat, heat[-1:]]),
        fuel_l=burnt[at],
    )
