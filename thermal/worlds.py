"""One trip in many worlds: the boxes, the weather and the load as they may really be, and how each world ends."""

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from thermal.cargo import hold_h
from thermal.columns import Columns
from thermal.forecast import error_modes, tail_scale
from thermal.fuel import fuel_loss
from thermal.grid import Grid, grid_of
from thermal.lattice import coordinate, mode_coordinates
from thermal.learning import failure_chance
from thermal.normal import normal_cdf
from thermal.own_risk import OwnRisk, own_risks
from thermal.params import Load, Risk, Trip
from thermal.paths import Holding, Model, Paths, fuel_and_hours, holding_of, model_of, propagate, start_state
from thermal.ranges import Array

__all__ = ["Plan", "WorldMarch", "Worlds", "march_worlds", "plan_of", "run_worlds"]

# Two constants of the score only, fitted once against resolved cycles on worlds not used for the calibration: the
# edge of the averaged model is a little warm, and heat that is back is not warm at once.
MODEL_BIAS_K = 0.03
RECOVER_H = 0.25
# Help later than this many geometric spreads (one time in 740) is not looked for: a thousandth of the breakdown's
# points.
LATEST_HELP_SPREADS = 3.0


SHORTEST_SCREEN_H = 6
SINGLE: type = np.float32


@dataclass(frozen=True, slots=True)
class Plan:
    """What all units of a trip share: grid, ambient of each step, and its forecast error modes (steps, 8)."""

    trip: Trip
    risk: Risk
    grid: Grid
    ambient: Array
    modes: Array


@dataclass(frozen=True, slots=True)
class Worlds:
    """How each world ended; shapes (units, n).

    cold_margin, hot_margin [K], hot is inf without a warm limit; breakdown, fuel: chance that a loss of heat ruins
    the load in this world; coldest [degC]: lowest edge temperature while the heater works.
    """

    cold_margin: Array
    hot_margin: Array
    breakdown: Array
    fuel: Array
    coldest: Array


def starts_cold(trip: Trip) -> bool:
    """Return whether the box starts off its set point with cold coolant."""
    if trip.start is not None and trip.start.heater_hot:
        return False
    moved = trip.start is not None and (trip.start.lining_c is not None or trip.start.air_c is not None)
    return moved or (trip.box_start_c is not None and trip.box_start_c != trip.set_point_c)


@lru_cache(maxsize=64)
def plan_of(trip: Trip, risk: Risk) -> Plan:
    """Return the plan of a trip under a risk; cached, because many units are asked about one trip."""
    grid = grid_of(trip, cold_start=starts_cold(trip))
    return Plan(
        trip=trip,
        risk=risk,
        grid=grid,
        ambient=grid.step_means(np.array(trip.ambient_c)),
        modes=grid.step_means(error_modes(risk, hours=trip.hours)),
    )


def run_worlds(
    plan: Plan,
    columns: Columns,
    load: Load,
    *,
    points: slice,
    every: int = 1,
    holding: Holding | None = None,
    own: OwnRisk | None = None,
) -> Worlds:
    """Return how the worlds `points` of the table end for each unit of `columns`.

    Parameters
    ----------
    plan : Plan
        The trip.
    columns : Columns
        Units, shape (u,).
    load : Load
        What they carry, mass above zero.
    points : slice
        Which worlds.
    every : int
        Hours between the moments at which a breakdown is looked at; 1 for a score, 2 for a first screen.
    holding : Holding, optional
        What the units' thermostats hold on the plan's grid under this load, if it is known already.
    own : OwnRisk, optional
        What of the risk is each unit's own; the plan's risk for all of them when not given.
    """
    count = points.stop - points.start
    every = every if plan.trip.hours >= SHORTEST_SCREEN_H else 1
    own = own_risks([plan.risk] * columns.width) if own is None else own
    # A screen is coarse in more than one way; single precision moved its scores by 0.0004 points at most.
    dtype = SINGLE if every > 1 else np.float64
    march = march_worlds(plan, columns, load, points=points, holding=holding, own=own, dtype=dtype)
    limit = load.damage_limit_c + plan.risk.sd_damage_c * np.tile(coordinate("damage", points), columns.width)
    ended = _outcome(plan, march, own.repeat(count), limit=limit, load=load, every=every)
    return Worlds(*(part.reshape(columns.width, count) for part in ended))


class WorldMarch(NamedTuple):
    """Worlds (w = units x points) marched over a plan: ambient of each step, the same for each unit (s, points) [degC];
    the edge's dip (s, w or 1) [K]."""

    model: Model
    paths: Paths
    ambient: Array
    dip: Array


def march_worlds(
    plan: Plan,
    columns: Columns,
    load: Load | None,
    *,
    points: slice,
    holding: Holding | None = None,
    own: OwnRisk | None = None,
    dtype: type = np.float64,
) -> WorldMarch:
    """March the worlds `points` of the table for each unit of `columns`, with heaters that work; `load` None: empty;
    `holding`: theirs, if already known."""
    risk, count, units = plan.risk, points.stop - points.start, columns.width

    def spread(name: str) -> Array:
        return np.tile(coordinate(name, points), units)

    each = (own_risks([risk] * units) if own is None else own).repeat(count)
    worlds = columns.repeat(count).scaled(
        k=np.exp(each.sd_ln_k * spread("k")), output=np.exp(each.sd_ln_output * spread("output"))
    )
    model = model_of(plan.grid, worlds, load, edge_film=np.exp(risk.sd_ln_edge_film * spread("film")), dtype=dtype)
    ambient = _weather(plan.trip, risk, points.start, points.stop)
    start = start_state(model.net, plan.trip, load, load_shift=risk.sd_load_c * spread("load"))
    # The thermostat is read at the expected duty: reading it in every world was tried and changed nothing that counts.
    if holding is None:
        holding = holding_of(columns, load, plan.trip, plan.grid, plan.ambient[:, None])
    held: Array = holding.air_c.astype(SINGLE)
    dip: Array = holding.dip_k.astype(SINGLE)
    if units > 1:
        held, dip = np.repeat(held, count, axis=1), np.repeat(dip, count, axis=1)
    felt: Array = np.tile(ambient.astype(SINGLE), units)
    paths = propagate(model, set_c=held, ambient=felt, start=start, dtype=SINGLE)
    return WorldMarch(model, paths, ambient, dip)


@lru_cache(maxsize=8)
def _weather(trip: Trip, risk: Risk, first: int, end: int) -> Array:
    """Return the ambient of each step in the worlds from `first` to `end`, degC, shape (s, end - first); cached,
    because a ranking asks for it again with each block of units."""
    plan, points = plan_of(trip, risk), slice(first, end)
    scale = tail_scale(coordinate("tail", points), df=risk.forecast_tail_df)
    error = plan.modes @ (mode_coordinates(points) * scale)
    weather: Array = plan.ambient[:, None] + error
    weather.setflags(write=False)
    return weather


def _outcome(
    plan: Plan, march: WorldMarch, own: OwnRisk, *, limit: Array, load: Load, every: int
) -> tuple[Array, Array, Array, Array, Array]:
    risk, model, paths, dip = plan.risk, march.model, march.paths, march.dip
    edge = paths.x[:, 1]
    coldest = np.minimum(edge[0], (edge[1:] - dip).min(axis=0))
    if load.high_c is None:
        hot = np.full_like(coldest, np.inf)
    else:
        hot = load.high_c - np.maximum(edge.max(axis=0), paths.x[:, 2].max(axis=0))
    burnt, engine = fuel_and_hours(model, paths)
    longest = risk.help_median_h * risk.help_gsd**LATEST_HELP_SPREADS + RECOVER_H
    hold = hold_h(model, paths, limit_c=limit, longest_h=longest, every=every)
    late = _late(risk, hold)
    hours = plan.grid.at_hour[::every]
    run = np.diff(engine[hours], axis=0)
    exposure = (run * (late[:-1] + late[1:]) / 2).sum(axis=0)
    failures, engine_h, sd_burn = (
        values.astype(exposure.dtype) for values in (own.failures, own.engine_h, own.sd_ln_burn)
    )
    breakdown = failure_chance(exposure, failures=failures, engine_h=engine_h)
    fuel = fuel_loss(model, burnt, late=late, hold_h=hold, risk=risk, sd_burn=sd_burn, trip=plan.trip, every=every)
    return coldest - limit - MODEL_BIAS_K, hot, breakdown, fuel, coldest


def _late(risk: Risk, hold: Array) -> Array:
    """Return the chance that help comes after the load is lost, for a loss of heat with `hold` hours to damage."""
    late = np.zeros_like(hold)
    reached = np.isfinite(hold)
    if not reached.any():
        return late
    time_left = np.maximum(hold[reached] - RECOVER_H, 1e-9)
    late[reached] = normal_cdf((np.log(risk.help_median_h) - np.log(time_left)) / np.log(risk.help_gsd))
    return late
