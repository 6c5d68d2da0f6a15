"""The trip as a picture needs it: the nominal path at every node, and the band in which nine of ten worlds run.

The band is taken from the same fixed worlds as the score: shell, output, weather, load and film as they may really be,
with a heater that works. Breakdowns and a tank that runs dry are not in it; the score counts those.
"""

from dataclasses import dataclass

import numpy as np

from thermal.columns import columns_of
from thermal.lattice import USUAL
from thermal.nominal import burnt_of, dry_spans, left_l, march_of, nominal
from thermal.params import Load, Risk, Trip, Unit
from thermal.paths import air_at
from thermal.ranges import Array
from thermal.worlds import march_worlds, plan_of

__all__ = ["BAND", "Band", "Course", "band_of", "course_of"]

BAND = (0.05, 0.95)


@dataclass(frozen=True, slots=True)
class Band:
    """Temperatures between which the middle nine tenths of the worlds run at `time_h` (n,), pointwise [degC].

    Each pair is (low, high), shape (2, n); edge and core are None for an empty box. The low side of the edge holds
    the dip of the thermostat's cycle.
    """

    time_h: Array
    air_c: Array
    edge_c: Array | None
    core_c: Array | None


@dataclass(frozen=True, slots=True)
class Course:
    """The nominal path of one unit at `time_h` (n,), hours from the start.

    ambient_c, air_c, edge_c, core_c [degC] (n,), edge and core None for an empty box; fuel_l left in the tank [L] at
    fuel_h [h], a fill twice, before and after; given_kw mean heat of each step [kW] (n - 1,), 0 without fuel;
    needed_kw what the shell loses at the set point with shut doors [kW] (n,); available_kw the most the heater gives
    [kW]; damage_after_h at whole hours, inf when not before arrival (hours + 1,); fuel_out_h when the tank runs dry,
    None when it does not [h].
    """

    time_h: Array
    ambient_c: Array
    air_c: Array
    edge_c: Array | None
    core_c: Array | None
    fuel_h: Array
    fuel_l: Array
    given_kw: Array
    needed_kw: Array
    available_kw: float
    damage_after_h: Array
    fuel_out_h: float | None
    band: Band


def course_of(unit: Unit, *, load: Load | None, trip: Trip, risk: Risk) -> Course:
    """Return the course of one unit on one trip with its band.

    Notes
    -----
    The band says nothing after `fuel_out_h`: its worlds never run dry.
    """
    columns = columns_of([unit])
    laden = load if load is not None and load.mass_kg > 0 else None
    march = march_of(columns, laden, trip, dry=[])
    dry = dry_spans(march.grid, trip, burnt_of(march)[0], columns)
    if dry:
        march = march_of(columns, laden, trip, dry=dry)
    grid, model, paths = march.grid, march.model, march.paths
    first = (model.net.film * paths.x[0, 0] + model.net.edge * paths.x[0, 1]) / model.net.air_sum
    ambient = np.interp(grid.time_h, np.arange(trip.hours + 1), trip.ambient_c)
    needed = columns.ua_full[0] * np.maximum(trip.set_point_c - ambient, 0.0) / 1e3
    fuel_h, fuel_l = left_l(burnt_of(march)[0], grid, trip, columns)
    return Course(
        time_h=grid.time_h,
        ambient_c=ambient,
        air_c=np.concatenate([first, air_at(model, paths, march.ambient)[:, 0]]),
        edge_c=paths.x[:, 1, 0] if laden else None,
        core_c=paths.x[:, 2, 0] if laden else None,
        fuel_h=fuel_h,
        fuel_l=fuel_l,
        given_kw=paths.heat[:, 0] / 1e3,
        needed_kw=needed,
        available_kw=float(columns.q_max[0]) / 1e3,
        damage_after_h=nominal(unit, load=laden, trip=trip, risk=risk).damage_after_h,
        fuel_out_h=dry[0][0] if dry else None,
        band=band_of(unit, load=laden, trip=trip, risk=risk),
    )


def band_of(unit: Unit, *, load: Load | None, trip: Trip, risk: Risk) -> Band:
    """Return the band of one unit on one trip, from the score's first 128 worlds."""
    plan = plan_of(trip, risk)
    march = march_worlds(plan, columns_of([unit]), load, points=slice(0, USUAL))
    air = air_at(march.model, march.paths, march.ambient)
    net, x = march.model.net, march.paths.x
    first = (net.film * x[0, 0] + net.edge * x[0, 1]) / net.air_sum
    dip = np.broadcast_to(march.dip, march.paths.heat.shape)
    low_edge = x[:, 1] - np.concatenate([np.zeros((1, USUAL)), dip])
    return Band(
        time_h=plan.grid.time_h,
        air_c=_between(np.concatenate([first[None], air])),
        edge_c=None if load is None else np.stack([_between(low_edge)[0], _between(x[:, 1])[1]]),
        core_c=None if load is None else _between(x[:, 2]),
    )


def _between(worlds: Array) -> Array:
    """Return the two ends of the band at each node from (n, worlds), shape (2, n)."""
    ends: Array = np.quantile(worlds.astype(np.float64), BAND, axis=1)
    return ends
