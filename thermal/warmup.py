"""Warming up: how long full fire takes to bring the air of a cold box to its set point, and what a preheat leaves
behind."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, expm1
from typing import NamedTuple

import numpy as np

from thermal.box import network
from thermal.columns import Columns, columns_of
from thermal.grid import grid_of
from thermal.params import Load, Trip, Unit
from thermal.paths import air_at, fuel_and_hours, holding_of, lag_burn_l, model_of, propagate, start_state
from thermal.ranges import Array, require
from thermal.steps import modes_of, steps_of

__all__ = ["Preheat", "WarmUp", "preheat", "warm_up", "warm_ups"]

STEP_S = 60.0
LONGEST_H = 48.0


class WarmUp(NamedTuple):
    """Hours of full fire until the air reaches the set point, 0 when it needs none, None when it never does.

    `loaded_h` is None too when there is no load; `equilibrium_c` is where the air of the empty box settles when it
    never gets there, else None [degC].
    """

    empty_h: float | None
    loaded_h: float | None
    equilibrium_c: float | None


@dataclass(frozen=True, slots=True)
class Preheat:
    """An empty box after a preheat: lining and air [degC], fuel burnt [L], engine hours, and when the air was warm
    [h].

    `reached_h` is None when the set point was not reached in time. Start a trip from it with
    `Start(lining_c=preheat.lining_c, heater_hot=True)` and a tank emptied by `fuel_l`.
    """

    lining_c: float
    air_c: float
    fuel_l: float
    engine_h: float
    reached_h: float | None


def warm_up(
    unit: Unit, *, load: Load | None, set_point_c: float, soak_c: float, ambient_c: float | None = None
) -> WarmUp:
    """Return how long a box soaked at `soak_c` takes to warm its air to the set point, empty and loaded.

    Parameters
    ----------
    unit : Unit
        Box and heater; fuel is taken as unlimited.
    load : Load or None
        A load that is put into the cold box at its own temperature; None or zero mass: only the empty box.
    set_point_c, soak_c : float
        Air temperature to reach, and temperature of the whole box at the start [degC].
    ambient_c : float, optional
        Ambient while it warms, held; the soak temperature when not given [degC].

    Returns
    -------
    WarmUp

    Notes
    -----
    Full fire after the coolant lag; the air is warm long before lining and load are. A warm load helps the air of a
    cold box, so the loaded time can be the shorter one: the heat it takes comes out of the edge of the load.
    """
    require("set_point_c", set_point_c, -30.0, 40.0)
    soak = require("soak_c", soak_c, -70.0, 60.0)
    ambient = soak if ambient_c is None else require("ambient_c", ambient_c, -70.0, 60.0)
    if soak >= set_point_c:
        return WarmUp(0.0, 0.0 if load is not None and load.mass_kg > 0 else None, None)
    laden = load is not None and load.mass_kg > 0
    empty = _air_warm_h(unit, None, set_c=set_point_c, soak_c=soak, ambient_c=ambient)
    loaded = _air_warm_h(unit, load, set_c=set_point_c, soak_c=soak, ambient_c=ambient) if laden else None
    columns = columns_of([unit])
    equilibrium = ambient + float(columns.q_max[0] / columns.ua_full[0])
    return WarmUp(empty, loaded, equilibrium if empty is None or (laden and loaded is None) else None)


def warm_ups(
    units: Sequence[Unit], *, set_point_c: float, soak_c: Sequence[float], ambient_c: Sequence[float]
) -> list[WarmUp]:
    """Return for each unit what `warm_up` says of its empty box, all marched together.

    Parameters
    ----------
    units : sequence of Unit, length w
        Boxes and heaters.
    set_point_c : float
        Air temperature to reach, the same for all [degC].
    soak_c, ambient_c : sequence of float, length w
        As in `warm_up`, one for each unit [degC].

    Notes
    -----
    The same minutes' steps as `warm_up`; the march ends when the last box is warm.
    """
    require("set_point_c", set_point_c, -30.0, 40.0)
    soak = np.array([require("soak_c", value, -70.0, 60.0) for value in soak_c])
    ambient = np.array([require("ambient_c", value, -70.0, 60.0) for value in ambient_c])
    if not units:
        return []
    columns = columns_of(units)
    hours = _air_warm_hours(columns, set_c=set_point_c, soak_c=soak, ambient_c=ambient)
    settles = (ambient + columns.q_max / columns.ua_full).tolist()
    return [
        WarmUp(None, None, rest_c) if hour == np.inf else WarmUp(hour, None, None)
        for hour, rest_c in zip(hours.tolist(), settles, strict=True)
    ]


def _air_warm_hours(columns: Columns, *, set_c: float, soak_c: Array, ambient_c: Array) -> Array:
    """Return hours of full fire until the air of each empty box is at `set_c`, inf where it never is, shape (w,)."""
    net = network(columns, None)
    steps = steps_of(net, modes_of(net, np.zeros((1, columns.width))), np.array([0]), np.array([STEP_S]))
    step, gain = steps.m[:, :, 0], steps.heat[:, 0]
    rest = steps.ambient[:, 0] * ambient_c + steps.own[:, 0]
    full, total = columns.q_max, net.air_sum
    lag = columns.lag + columns.air_j_k / total
    share = np.array([net.film / total, net.edge / total])
    x = np.array([soak_c, soak_c, soak_c])
    before = (share * x[:2]).sum(axis=0)
    hours = np.where((soak_c >= set_c) | (before >= set_c), 0.0, np.inf)
    waiting = np.isinf(hours) & (ambient_c + full / net.ua > set_c)
    for i in range(int(LONGEST_H * 3600 / STEP_S)):
        if not waiting.any():
            break
        fade = np.exp(-i * STEP_S / lag)
        mean = full * (1 + fade * lag / STEP_S * np.expm1(-STEP_S / lag))
        x = np.einsum("ijw,jw->iw", step, x) + gain * mean + rest
        heat = full * (1 - fade * np.exp(-STEP_S / lag))
        now = (share * x[:2]).sum(axis=0) + heat / total
        warm = waiting & (now >= set_c)
        hours[warm] = ((i + (set_c - before[warm]) / (now[warm] - before[warm])) * STEP_S) / 3600.0
        waiting &= ~warm
        before = now
    return hours


def preheat(unit: Unit, *, hours: float, set_point_c: float, soak_c: float, ambient_c: tuple[float, ...]) -> Preheat:
    """Return the state of the empty box after heating it for `hours` from a soak at `soak_c`.

    Parameters
    ----------
    unit : Unit
        Box and heater.
    hours : float
        Length of the preheat [h], above 0.
    set_point_c, soak_c : float
        Set point, and temperature of the whole box when the heater starts [degC].
    ambient_c : tuple of float
        Ambient at whole hours from the start of the preheat, up to its end [degC].
    """
    trip = Trip(set_point_c=set_point_c, ambient_c=ambient_c, box_start_c=soak_c)
    length = require("hours", hours, 0.05, float(trip.hours))
    grid = grid_of(trip, cold_start=True, extra_h=(length,), step_h=0.25)
    columns = columns_of([unit])
    model = model_of(grid, columns, None)
    ambient = grid.step_means(np.array(trip.ambient_c))[:, None]
    held = holding_of(columns, None, trip, grid, ambient).air_c
    paths = propagate(model, set_c=held, ambient=ambient, start=start_state(model.net, trip, None))
    burnt, engine = fuel_and_hours(model, paths)
    end = int(np.searchsorted(grid.time_h, length - 1e-6))
    air = air_at(model, paths, ambient)[end - 1, 0]
    mean = float(np.interp(np.linspace(0, length, 9), np.arange(len(ambient_c)), ambient_c).mean())
    warm = warm_up(unit, load=None, set_point_c=set_point_c, soak_c=soak_c, ambient_c=mean).empty_h
    return Preheat(
        lining_c=float(paths.x[end, 0, 0]),
        air_c=float(air),
        fuel_l=float(burnt[end, 0] + lag_burn_l(model)[0]),
        engine_h=float(engine[end, 0] + columns.lag[0] / 3600.0),
        reached_h=warm if warm is not None and warm <= length else None,
    )


def _air_warm_h(unit: Unit, load: Load | None, *, set_c: float, soak_c: float, ambient_c: float) -> float | None:
    """Return hours of full fire until the air is at `set_c`, or None; coolant and air follow the fire as one lag."""
    columns = columns_of([unit])
    net = network(columns, load)
    steps = steps_of(net, modes_of(net, np.zeros((1, 1))), np.array([0]), np.array([STEP_S]))
    load_c = soak_c if load is None else load.temperature_c
    (ll, le, lc), (el, ee, ec), (cl, ce, cc) = steps.m[:, :, 0, 0].tolist()
    gain_l, gain_e, gain_c = steps.heat[:, 0, 0].tolist()
    rest_l, rest_e, rest_c = (steps.ambient[:, 0, 0] * ambient_c + steps.own[:, 0, 0]).tolist()
    lining, edge, core = soak_c, load_c, load_c
    full, total = float(columns.q_max[0]), float(net.air_sum[0])
    lag = float(columns.lag[0] + columns.air_j_k[0] / total)
    if load is None and ambient_c + full / float(net.ua[0]) <= set_c:
        return None
    per_lining, per_edge = float(net.film[0]) / total, float(net.edge[0]) / total
    before = per_lining * lining + per_edge * edge
    if before >= set_c:
        return 0.0
    # Plain numbers: a minute's step of one box is faster without arrays.
    for i in range(int(LONGEST_H * 3600 / STEP_S)):
        fade = exp(-i * STEP_S / lag)
        mean = full * (1 + fade * lag / STEP_S * expm1(-STEP_S / lag))
        lining, edge, core = (
            ll * lining + le * edge + lc * core + gain_l * mean + rest_l,
            el * lining + ee * edge + ec * core + gain_e * mean + rest_e,
            cl * lining + ce * edge + cc * core + gain_c * mean + rest_c,
        )
        heat = full * (1 - fade * exp(-STEP_S / lag))
        now = per_lining * lining + per_edge * edge + heat / total
        if now >= set_c:
            return float((i + (set_c - before) / (now - before)) * STEP_S / 3600.0)
        before = now
    return None
