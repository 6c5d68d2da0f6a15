"""Many worlds of one trip, or one world each of many trips: what is true in them, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fleet.simulator.errors import SimulatorError
from fleet.simulator.quantities import Bools, Box, Case, Floats, Heater, Ints, Load, repeated, stacked
from fleet.simulator.supply import Help
from fleet.simulator.weather import forecast_error

STEP_S = 60.0
INNER_LAYERS = 3


@dataclass(frozen=True, slots=True)
class Worlds:
    """Everything that is true in n worlds before they run. Arrays of shape (n,) unless noted.

    `ambient_c` is hourly, shape (hours + 1, n). Stops have shape (stops, n), absent ones end before they
    begin. `heat_stops_s` is when the heat is lost for good, infinity for never.
    """

    box: Box
    heater: Heater
    load: Load
    fuel_l: Floats
    rate_per_h: Floats
    aid: Help
    set_point_c: Floats
    ambient_c: Floats
    box_start_c: Floats
    end_s: Floats
    stop_start_s: Floats
    stop_end_s: Floats
    stop_share: Floats
    stop_refuel: Bools
    stop_off: Bools
    heat_stops_s: Floats


@dataclass(frozen=True, slots=True)
class Truth:
    """What happened in n worlds, arrays of shape (n,) unless noted.

    Temperatures are extremes over the whole trip, loading included; NaN for an empty box. Times are hours
    from departure, infinity for never. `cold_at_h` is when the edge reached its damage limit. Series, when
    kept, have shape (steps + 1, n) and temperatures (steps + 1, stores, n).
    """

    min_edge_c: Floats
    min_edge_h: Floats
    max_c: Floats
    cold_at_h: Floats
    hot_at_h: Floats
    fuel_used_l: Floats
    engine_h: Floats
    breakdowns: Ints
    fuel_out_h: Floats
    delivered_j: Floats
    lost_j: Floats
    gained_j: Floats
    temps_c: Floats | None = None
    heat_w: Floats | None = None

    @property
    def damaged(self) -> Bools:
        """Where a part of the load passed a damage limit."""
        return np.isfinite(self.cold_at_h) | np.isfinite(self.hot_at_h)


def draw_worlds(cases: list[Case], *, n: int, rng: np.random.Generator) -> Worlds:
    """Return n worlds of each case, every uncertain input drawn from the case's own risk.

    Drawn: K, output, edge film, burn (lognormal), loading temperature, damage limit (normal), true fuel
    (gauge error as a share of the tank, kept between empty and full), failure rate (gamma, per engine
    hour), the sky.
    """
    certain = sure_worlds(cases, n=n)
    risk = stacked([repeated(case.risk, n) for case in cases])

    def normal(sd: Floats) -> Floats:
        return sd * rng.standard_normal(len(sd))

    box, heater, load = certain.box, certain.heater, certain.load
    gauge = normal(risk.sd_gauge_share) * heater.tank_l
    hours = len(certain.ambient_c) - 1
    return replace(
        certain,
        box=replace(box, k_w_m2k=box.k_w_m2k * np.exp(normal(risk.sd_ln_k))),
        heater=replace(
            heater,
            output_kw=heater.output_kw * np.exp(normal(risk.sd_ln_output)),
            burn_high_l_h=heater.burn_high_l_h * (scale := np.exp(normal(risk.sd_ln_burn))),
            burn_low_l_h=heater.burn_low_l_h * scale,
        ),
        load=replace(
            load,
            edge_film_w_m2k=load.edge_film_w_m2k * np.exp(normal(risk.sd_ln_edge_film)),
            temperature_c=load.temperature_c + normal(risk.sd_load_c),
            damage_c=load.damage_c + (shift := normal(risk.sd_damage_c)),
            freezes_c=load.freezes_c + shift,
        ),
        fuel_l=np.clip(certain.fuel_l + gauge, 0.0, heater.tank_l),
        rate_per_h=rng.gamma(risk.failures) / risk.engine_h,
        aid=Help(median_h=risk.help_median_h, sd_ln=np.log(risk.help_gsd)),
        ambient_c=certain.ambient_c + forecast_error(risk, hours=hours, rng=rng),
    )


def sure_worlds(cases: list[Case], *, n: int) -> Worlds:
    """Return n worlds of each case in which everything is as stated and nothing breaks down."""
    if n < 1 or not cases:
        raise SimulatorError("worlds: at least one case and one world are required")
    trips = [case.trip for case in cases]
    longest, stops = max(t.hours for t in trips), max(len(t.stops) for t in trips)

    def column(values: list[float]) -> Floats:
        return np.repeat(np.array(values, dtype=np.float64), n)

    def stop_rows(name: str, absent: float) -> Floats:
        table = [[getattr(s, name) for s in t.stops] + [absent] * (stops - len(t.stops)) for t in trips]
        return np.repeat(np.array(table, dtype=np.float64).reshape(len(trips), stops).T, n, axis=1)

    # A shorter trip's last hour holds on; nothing is recorded after its arrival.
    ambient = [np.concatenate([t.ambient_c, np.full(longest - t.hours, t.ambient_c[-1])]) for t in trips]
    start_s = stop_rows("at_h", np.inf) * 3600.0
    size = len(trips) * n
    return Worlds(
        box=stacked([repeated(case.box, n) for case in cases]),
        heater=stacked([repeated(case.heater, n) for case in cases]),
        load=stacked([repeated(case.load, n) for case in cases]),
        fuel_l=column([case.fuel_l for case in cases]),
        rate_per_h=np.zeros(size),
        aid=Help(median_h=np.full(size, np.inf), sd_ln=np.zeros(size)),
        set_point_c=column([t.set_point_c for t in trips]),
        ambient_c=np.repeat(np.array(ambient).T, n, axis=1),
        box_start_c=column([np.nan if t.box_start_c is None else t.box_start_c for t in trips]),
        end_s=column([t.hours * 3600.0 for t in trips]),
        stop_start_s=start_s,
        stop_end_s=start_s + stop_rows("duration_h", 0.0) * 3600.0,
        stop_share=stop_rows("open_share", 0.0),
        stop_refuel=stop_rows("refuel", 0.0) > 0,
        stop_off=stop_rows("heater_off", 0.0) > 0,
        heat_stops_s=np.full(size, np.inf),
    )
