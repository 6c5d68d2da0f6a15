"""How boxes go through a trip: stores and heat at every node, for all columns at once.

The heater is averaged over its cycle: in each step it gives the heat, within its limits, that brings the air to the
set point plus the thermostat offset at the end of the step. One clip covers holding, warming up, floating warm and
the floor of low fire. A second path without heat runs along for the time to damage.
"""

from dataclasses import dataclass, fields

import numpy as np

from thermal.box import Network, air_c, door_w_k, network
from thermal.columns import Columns
from thermal.grid import FLOAT_H, Grid
from thermal.heater import Thermostat, duty_of, thermostat_of, use_of
from thermal.march import Course, march_many, march_one
from thermal.params import Load, Trip
from thermal.ranges import Array
from thermal.steps import Modes, Steps, modes_of, steps_of

__all__ = [
    "Holding", "Model", "Paths", "air_at", "fuel_and_hours", "holding_of", "lag_burn_l", "model_of", "propagate",
    "start_state",
]  # fmt: skip


# Share of the set point's distance from ambient that the air has lost when doors close; fitted to resolved cycles.
REFILL = 0.9


@dataclass(frozen=True, slots=True)
class Model:
    """Everything that a march over a grid needs for columns (w): networks, door states and exact steps."""

    grid: Grid
    columns: Columns
    net: Network
    door: Array
    modes: Modes
    steps: Steps


@dataclass(frozen=True, slots=True)
class Paths:
    """Paths of columns: x (s + 1, 3, w) stores [degC], heat (s, w) [W], unheated (s + 1, 3, w) the path without
    heat."""

    x: Array
    heat: Array
    unheated: Array


def model_of(
    grid: Grid, columns: Columns, load: Load | None, *, edge_film: Array | float = 1.0, dtype: type = np.float64
) -> Model:
    """Return the model of `columns` carrying `load` on `grid`; its steps in the precision `dtype`."""
    net = network(columns, load, edge_film=edge_film)
    door = np.array(
        [
            door_w_k(columns, span_k=span, open_share=share) if share else np.zeros(columns.width)
            for span, share in zip(grid.span_k, grid.open_share, strict=True)
        ]
    )
    modes = modes_of(net, door).cast(dtype)
    steps = steps_of(net, modes, grid.kind_door, grid.kind_dt_s)
    return Model(grid=grid, columns=columns, net=net, door=door, modes=modes, steps=steps)


def start_state(net: Network, trip: Trip, load: Load | None, *, load_shift: Array | float = 0.0) -> Array:
    """Return lining, edge and core at the start, degC, shape (3, w); `load_shift` [K] is added to the load's."""
    start = trip.start
    lining = np.full_like(net.ua, trip.set_point_c if trip.box_start_c is None else trip.box_start_c)
    if start is not None and start.lining_c is not None:
        lining = np.full_like(net.ua, start.lining_c)
    elif start is not None and start.air_c is not None:
        through = (net.ua - net.wall) / net.film
        lining = start.air_c - through * (start.air_c - trip.ambient_c[0])
    loaded = lining if load is None else np.full_like(net.ua, load.temperature_c)
    edge = loaded if start is None or start.edge_c is None else np.full_like(net.ua, start.edge_c)
    core = loaded if start is None or start.core_c is None else np.full_like(net.ua, start.core_c)
    return np.array([lining, edge + load_shift, core + load_shift])


@dataclass(frozen=True, slots=True)
class Holding:
    """What thermostats hold in each step: air [degC] and the edge's dip [K], shape (s, w) each."""

    air_c: Array
    dip_k: Array

    def take(self, which: slice | list[int]) -> "Holding":
        """Return what the columns at these places hold, in that order."""
        return Holding(self.air_c[:, which], self.dip_k[:, which])


def holding_of(
    columns: Columns, load: Load | None, trip: Trip, grid: Grid, ambient: Array, *, thermostat: Thermostat | None = None
) -> Holding:
    """Return what the units hold in the `ambient` (s, 1) that is expected; `thermostat`: theirs, if already known.

    The duty is that which holds the set point; where doors, switched-off stops or a cold start make the heater catch
    up, the duty of a first march replaces it.
    """
    net = network(columns, load)
    thermostat = thermostat_of(net, columns) if thermostat is None else thermostat
    duty = duty_of(columns, net.ua * (trip.set_point_c - ambient) - net.heat_edge - net.heat_core)
    held, dip = _held_at(thermostat, trip, grid, duty)
    if grid.cold_start or grid.off.any() or grid.door.any():
        model = model_of(grid, columns, load)
        wide = np.broadcast_to(ambient, held.shape)
        start = start_state(net, trip, load)
        first = propagate(model, set_c=held, ambient=wide, start=start, unheated=False)
        held, dip = _held_at(thermostat, trip, grid, duty_of(columns, first.heat))
    return Holding(air_c=held, dip_k=dip)


def _held_at(thermostat: Thermostat, trip: Trip, grid: Grid, duty: Array) -> tuple[Array, Array]:
    """Return held air and dip at a duty.

    A box that starts at its set point first floats down to where its thermostat calls: the first quarter of an hour
    holds only the lower end of its band.
    """
    offset, dip = thermostat.at(duty)
    dip[grid.off | (grid.door > 0)] = 0.0
    if not grid.cold_start and (trip.start is None or not trip.start.heater_hot):
        early = grid.time_h[1:] <= FLOAT_H[0] + 1e-9
        offset[early], dip[early] = -thermostat.hysteresis, 0.0
        later = (grid.time_h[1:] <= FLOAT_H[1] + 1e-9) & ~early
        offset[later] = np.minimum(offset[later], 0.0)
    return trip.set_point_c + offset, dip


def propagate(
    model: Model, *, set_c: Array, ambient: Array, start: Array, dtype: type = np.float64, unheated: bool = True
) -> Paths:
    """March the columns over the grid.

    Parameters
    ----------
    model : Model
        Exact steps of the columns.
    set_c : ndarray, shape (s, w) or (s, 1)
        Air temperature to hold in each step, offset included [degC].
    ambient : ndarray, shape (s, w)
        Mean ambient of each step [degC].
    start : ndarray, shape (3, w)
        Lining, edge, core [degC].
    dtype : type
        Precision of the march. float32 changes a score by less than 0.01 points and suits large batches.
    unheated : bool
        Whether the path without heat is marched too; without it, `Paths.unheated` is empty.
    """
    grid, steps = model.grid, _cast(model.steps, dtype)
    ambient, set_c = ambient.astype(dtype, copy=False), set_c.astype(dtype, copy=False)
    drift = steps.ambient.transpose(1, 0, 2)[grid.kind]
    drift *= ambient[:, None]
    if model.net.heat_core.any():
        drift += steps.own.transpose(1, 0, 2)[grid.kind]
    _refill_air(model, steps, drift=drift, span_k=set_c - ambient)
    row, wanted = _control(model, steps, set_c=set_c, ambient=ambient, drift=drift)
    low, high = _limits(model, dtype)
    course = Course(
        kind=grid.kind.tolist(),
        matrix=_matrix(steps.m, row),
        gain=np.ascontiguousarray(steps.heat.transpose(1, 0, 2)),
        drift=drift,
        wanted=wanted,
        low=low,
        high=high,
        cooling=_cooling(model, dtype),
    )
    alone = model.columns.width == 1 and not unheated
    x, heat = march_one(course, start) if alone else march_many(course, start, unheated=unheated)
    return Paths(x=x[:, 0], heat=heat, unheated=x[:, 1] if unheated else x[:0, 0])


def _matrix(m: Array, row: Array) -> Array:
    """Return the steps' matrices with the heater's control as their fourth row, kind by kind, (k, 4, 3, w)."""
    matrix: Array = np.empty((m.shape[2], 4, 3, m.shape[3]), dtype=m.dtype)
    matrix[:, :3] = m.transpose(2, 0, 1, 3)
    matrix[:, 3] = row.transpose(1, 0, 2)
    return matrix


def _cast(steps: Steps, dtype: type) -> Steps:
    return Steps(*(getattr(steps, f.name).astype(dtype, copy=False) for f in fields(steps)))


def _refill_air(model: Model, steps: Steps, *, drift: Array, span_k: Array) -> None:
    """Charge the lining, in the step after doors close, with the heat that fills the air again; changes `drift`.

    The air has no store of its own here, but the air that an open door took away has to be warmed once.
    """
    grid, columns, net = model.grid, model.columns, model.net
    for s in np.flatnonzero((grid.door[:-1] > 0) & (grid.door[1:] == 0)).tolist():
        door = model.door[grid.door[s]]
        lost = REFILL * columns.air_j_k / net.c_lining * door / (net.air_sum + door) * span_k[s]
        drift[s + 1] -= steps.m[:, 0, grid.kind[s + 1]] * lost.astype(drift.dtype)


def _delay(model: Model) -> Array:
    """Return how long the air's heat follows the fire: the coolant's lag and the air's own, s, shape (w,)."""
    delay: Array = model.columns.lag + model.columns.air_j_k / model.net.air_sum
    return delay


def _control(model: Model, steps: Steps, *, set_c: Array, ambient: Array, drift: Array) -> tuple[Array, Array]:
    """Return the heater's control as a fourth row of each step's matrix, and the heat wanted without it [W].

    The air at the end of a step is linear in the heat given, so the heat that brings it to `set_c` is too.
    """
    grid, net, dtype = model.grid, model.net, drift.dtype
    total = net.air_sum + model.door
    g_lining, g_edge, per_w = (
        share.astype(dtype)[grid.kind_door] for share in (net.film / total, net.edge / total, 1 / total)
    )
    unit_gain = g_lining * steps.heat[0] + g_edge * steps.heat[1] + per_w
    row: Array = g_lining * steps.m[0]
    row += g_edge * steps.m[1]
    row /= -unit_gain
    floating = (g_lining / unit_gain)[grid.kind]
    floating *= drift[:, 0]
    of_edge = (g_edge / unit_gain)[grid.kind]
    of_edge *= drift[:, 1]
    floating += of_edge
    wanted: Array = unit_gain[grid.kind]
    np.divide(set_c, wanted, out=wanted)
    wanted -= floating
    for s in np.flatnonzero(grid.door).tolist():
        door = model.door[grid.door[s]]
        wanted[s] -= (door / total[grid.door[s]] / unit_gain[grid.kind[s]]).astype(dtype) * ambient[s]
    return row, wanted


def _limits(model: Model, dtype: type) -> tuple[list[Array], list[Array]]:
    """Return the least and the most heat of each step [W], views of shape (w,) per step."""
    grid, columns = model.grid, model.columns
    nothing: Array = np.zeros(columns.width, dtype=dtype)
    least: Array = columns.q_low.astype(dtype)
    most: Array = columns.q_max.astype(dtype)
    low = [nothing if off else least for off in grid.off.tolist()]
    high = [nothing if off else most for off in grid.off.tolist()]
    starts = [s for s in range(1, len(grid.off)) if grid.off[s - 1] and not grid.off[s]]
    for first in ([0] if grid.cold_start else []) + starts:
        waiting = _delay(model)
        for s in range(first, len(grid.dt_s)):
            share = (np.maximum(grid.dt_s[s] - waiting, 0.0) / grid.dt_s[s]).astype(dtype)
            low[s], high[s] = low[s] * share, high[s] * share
            waiting = np.maximum(waiting - grid.dt_s[s], 0.0)
            if not waiting.any():
                break
    return low, high


def _cooling(model: Model, dtype: type) -> dict[int, Array]:
    """Return, for the step in which a heater is switched off, the share of its last heat that the coolant still
    gives."""
    grid, lag = model.grid, np.maximum(_delay(model), 1.0)
    return {
        s: (-np.expm1(-grid.dt_s[s] / lag) * lag / grid.dt_s[s]).astype(dtype)
        for s in range(1, len(grid.off))
        if grid.off[s] and not grid.off[s - 1]
    }


def lag_burn_l(model: Model) -> Array:
    """Return the fuel that a cold start burns before heat arrives, L, shape (w,)."""
    if not model.grid.cold_start or model.grid.off[0]:
        return np.zeros(model.columns.width)
    return model.columns.lag * model.columns.burn_high


def fuel_and_hours(model: Model, paths: Paths) -> tuple[Array, Array]:
    """Return cumulated fuel [L] and engine hours at the nodes, shape (s + 1, w) each."""
    grid = model.grid
    return use_of(model.columns, duty_of(model.columns, paths.heat), np.where(grid.off, 0.0, grid.dt_s))


def air_at(model: Model, paths: Paths, ambient: Array) -> Array:
    """Return the air temperature at the end of each step with that step's heat, degC, shape (s, w)."""
    stores = np.moveaxis(paths.x[1:], 1, 0)
    return air_c(model.net, stores, paths.heat, door=model.door[model.grid.door], ambient=ambient)
