"""An independent resolved-cycle simulation: the thing the averaged model of `thermal` is measured against.

It shares no line with `thermal`. It reads the plain request of the calculator and marches five states (coolant heat,
air, lining, edge, core) through time with an on/off relay, minimum on and off times and a first-order coolant lag.
Each step is the exact solution of the linear equations for the relay state held over `STEP_S`. Worlds are columns:
one request can be run for one nominal world or for thousands of random ones. Slow on purpose (about 26 000 steps for
three days).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.linalg import expm

STEP_S = 10.0


@dataclass
class World:
    """Factors on the nominal request, one entry per world (shape (n,))."""

    k: np.ndarray
    output: np.ndarray
    film: np.ndarray
    load_c: np.ndarray
    damage_c: np.ndarray
    burn: np.ndarray
    gauge_l: np.ndarray
    ambient_c: np.ndarray  # shape (hours + 1, n)
    fail_rate: np.ndarray  # per engine hour
    seed: int = 0


def nominal_world(request: dict[str, Any]) -> World:
    one = np.ones(1)
    return World(
        k=one,
        output=one,
        film=one,
        load_c=one * request["load"]["temperature_c"],
        damage_c=one * request["load"]["damage_c"],
        burn=one,
        gauge_l=one * 0,
        ambient_c=np.array(request["trip"]["ambient_c"])[:, None],
        fail_rate=one * 0,
    )


def random_worlds(request: dict[str, Any], n: int, seed: int) -> World:
    rng = np.random.default_rng(seed)
    risk, heater = request["risk"], request["heater"]
    base = np.array(request["trip"]["ambient_c"])
    hours = np.arange(len(base))
    sd = np.hypot(risk["forecast_sd_c"], risk["forecast_sd_per_day_c"] * (risk["lead_h"] + hours) / 24)
    phi = np.exp(-1 / risk["forecast_correlation_h"])
    noise = rng.standard_normal((len(base), n))
    for i in range(1, len(base)):
        noise[i] = phi * noise[i - 1] + np.sqrt(1 - phi * phi) * noise[i]
    if risk["forecast_tail_df"] is not None:
        df = risk["forecast_tail_df"]
        noise = noise * np.sqrt((df - 2) / rng.chisquare(df, n))
    return World(
        k=np.exp(risk["sd_ln_k"] * rng.standard_normal(n)),
        output=np.exp(risk["sd_ln_output"] * rng.standard_normal(n)),
        film=np.exp(risk["sd_ln_edge_film"] * rng.standard_normal(n)),
        load_c=request["load"]["temperature_c"] + risk["sd_load_c"] * rng.standard_normal(n),
        damage_c=request["load"]["damage_c"] + risk["sd_damage_c"] * rng.standard_normal(n),
        burn=np.exp(risk["sd_ln_burn"] * rng.standard_normal(n)),
        gauge_l=risk["sd_gauge_share"] * heater["tank_l"] * rng.standard_normal(n),
        ambient_c=base[:, None] + sd[:, None] * noise,
        fail_rate=rng.gamma(risk["failures"], 1 / risk["engine_h"], n),
        seed=seed + 1,
    )


class Plant:
    """The five linear equations of one request, for a column of worlds."""

    def __init__(self, request: dict[str, Any], world: World) -> None:
        box, heater, load = request["box"], request["heater"], request["load"]
        area, volume = box["area_m2"], box["volume_m3"]
        ageing = 1 + min(0.4, box["ageing_per_y"] * box["age_y"])
        ua = box["k_w_m2k"] * area * ageing * box["moving_factor"] * world.k
        share = load["mass_kg"] / load["full_mass_kg"]
        wall = box["contact_share"] * ua * min(1.0, share ** (2 / 3))
        film = box["lining_film_w_m2k"] * area
        lining = 1 / (1 / (ua - wall) - 1 / film)
        cargo_area = load["full_area_m2"] * share ** (2 / 3)
        edge = load["edge_film_w_m2k"] * cargo_area * world.film
        bulk = load["bulk_w_mk"] * cargo_area / (load["full_depth_m"] * share ** (1 / 3)) * np.ones_like(ua)
        c_air = 1256.0 * volume
        c_lining = box["lining_kj_m2k"] * 1e3 * area
        heat = load["mass_kg"] * load["cp_kj_kgk"] * 1e3
        c_edge, c_core = load["edge_share"] * heat, (1 - load["edge_share"]) * heat
        self.q_max = heater["output_kw"] * heater["derate"] * 1e3 * world.output
        self.q_low = heater["output_low_kw"] * 1e3 * world.output
        self.tau = heater["coolant_lag_min"] * 60.0
        n = len(ua)
        a = np.zeros((n, 7, 7))  # states q, air, lining, edge, core; inputs: demanded heat, ambient
        a[:, 0, 0], a[:, 0, 5] = -1 / self.tau, 1 / self.tau
        a[:, 1, 0] = 1 / c_air
        a[:, 1, 1] = -(film + edge) / c_air
        a[:, 1, 2], a[:, 1, 3] = film / c_air, edge / c_air
        a[:, 2, 1], a[:, 2, 2], a[:, 2, 6] = film / c_lining, -(film + lining) / c_lining, lining / c_lining
        if heat > 0:
            a[:, 3, 1], a[:, 3, 2 + 2] = edge / c_edge, bulk / c_edge
            a[:, 3, 3], a[:, 3, 6] = -(edge + bulk + wall) / c_edge, wall / c_edge
            a[:, 4, 3], a[:, 4, 4] = bulk / c_core, -bulk / c_core
        self.a, self.c_air, self.ua = a, c_air, ua
        self.respiration = load["respiration_w_kg"] / (load["cp_kj_kgk"] * 1e3)

    def step(self, door_w_k: float) -> np.ndarray:
        a = self.a.copy()
        a[:, 1, 1] -= door_w_k / self.c_air
        a[:, 1, 6] += door_w_k / self.c_air
        return expm(a * STEP_S)


def door_w_k(request: dict[str, Any], stop: dict[str, Any]) -> float:
    box, trip = request["box"], request["trip"]
    ambient = np.array(trip["ambient_c"])
    middle = np.interp(stop["at_h"] + stop["duration_h"] / 2, np.arange(len(ambient)), ambient)
    span = max(abs(trip["set_point_c"] - middle), 1.0)
    area = box["door_width_m"] * box["door_height_m"]
    flow = 0.221 * area * np.sqrt(9.80665 * box["door_height_m"]) * np.sqrt(span / 278.0)
    return 1256.0 * flow * box["door_flow"] * (1 - box["curtain"]) * stop["open_share"]


class Trial:
    """Worlds on their way through the trip: state, heater, fuel, failures and what was lost so far."""

    def __init__(self, request: dict[str, Any], world: World, *, heat_stops_h: float | None) -> None:
        self.request, self.world, self.heat_stops_h = request, world, heat_stops_h
        self.plant = Plant(request, world)
        self.trip, self.heater, self.risk = request["trip"], request["heater"], request["risk"]
        self.hours = len(self.trip["ambient_c"]) - 1
        self.rng = np.random.default_rng(world.seed)
        n = len(self.plant.ua)
        start = self.trip["set_point_c"] if self.trip["box_start_c"] is None else self.trip["box_start_c"]
        self.x = np.zeros((n, 7))
        self.x[:, 1:3] = start
        self.x[:, 3] = self.x[:, 4] = world.load_c
        self.on, self.since = np.zeros(n, bool), np.full(n, 1e9)
        self.fuel = np.clip(request["fuel_l"] + world.gauge_l, 0, self.heater["tank_l"]) * np.ones(n)
        self.burned, self.engine = np.zeros(n), np.zeros(n)
        self.coldest, self.warmest, self.coldest_h = world.load_c.copy(), world.load_c.copy(), np.zeros(n)
        self.fuel_out, self.damage_h = np.full(n, np.nan), np.full(n, np.nan)
        self.dead_until, self.help_due = np.full(n, -1.0), np.full(n, np.inf)
        self.budget = self.rng.exponential(size=n)  # unit-rate exposure to the next failure
        self.cold, self.hot, self.fault = np.zeros(n, bool), np.zeros(n, bool), np.zeros(n, bool)
        self.filled: set[int] = set()
        self.matrices: dict[float, np.ndarray] = {}

    def advance(self, k: int) -> None:
        t = k * STEP_S / 3600
        door, off = self.stop_at(t)
        self.switch()
        self.run(t, off)
        self.fail(t)
        if door not in self.matrices:
            self.matrices[door] = self.plant.step(door)
        hour = min(int(t), self.hours - 1)
        w = t + STEP_S / 7200 - hour
        self.x[:, 6] = (1 - w) * self.world.ambient_c[hour] + w * self.world.ambient_c[hour + 1]
        matrix = self.matrices[door]
        self.x = np.einsum("nij,nj->ni", matrix, self.x) if len(self.x) > 1 else (matrix[0] @ self.x[0])[None]
        self.x[:, 3:5] += self.plant.respiration * STEP_S
        self.judge(t)

    def stop_at(self, t: float) -> tuple[float, bool]:
        """Fill the tank at the start of a refuelling stop; return the doors' conductance and whether heat is off."""
        door, off = 0.0, False
        for i, stop in enumerate(self.trip["stops"]):
            if stop["at_h"] <= t < stop["at_h"] + stop["duration_h"]:
                door, off = door_w_k(self.request, stop), stop["heater_off"]
                if stop["refuel"] and i not in self.filled:
                    self.filled.add(i)
                    self.fuel[:] = self.heater["tank_l"]
                    self.help_due[self.dead_until < t] = np.inf
        return door, off

    def switch(self) -> None:
        set_c, h, air = self.trip["set_point_c"], self.heater["hysteresis_k"], self.x[:, 1]
        shortest = max(self.heater["min_on_min"], self.heater["start_run_min"]) * 60
        start = ~self.on & (air < set_c - h) & (self.since >= self.heater["min_off_min"] * 60)
        stop = self.on & (air > set_c + h) & (self.since >= shortest)
        self.on = (self.on | start) & ~stop
        self.since = np.where(start | stop, 0.0, self.since) + STEP_S

    def run(self, t: float, off: bool) -> None:
        """Set the heat demanded in this step, burn fuel, count engine hours."""
        heater, plant = self.heater, self.plant
        dry = self.fuel <= 0
        self.newly_dry = dry & np.isnan(self.fuel_out)
        self.fuel_out[self.newly_dry] = t
        alive = (t >= self.dead_until) & ~dry
        if off:
            self.on[:] = False
        if off or (self.heat_stops_h is not None and t >= self.heat_stops_h):
            alive = np.zeros_like(alive)
        self.x[:, 5] = np.where(alive, np.where(self.on, plant.q_max, plant.q_low), 0.0)
        engine = alive & (self.on | (heater["burn_low_l_h"] > 0))
        rate = np.where(self.on, heater["burn_high_l_h"], heater["burn_low_l_h"]) * self.world.burn
        use = np.where(engine, rate, 0.0) * STEP_S / 3600
        self.fuel, self.burned = self.fuel - use, self.burned + use
        self.engine += engine * STEP_S / 3600
        self.budget -= self.world.fail_rate * engine * STEP_S / 3600

    def response_h(self, n: int) -> np.ndarray:
        spread = np.log(self.risk["help_gsd"]) * self.rng.standard_normal(n)
        return self.risk["help_median_h"] * np.exp(spread)

    def fail(self, t: float) -> None:
        """Break down where the exposure is used up; bring fuel to those who ran dry (only where trips can fail)."""
        failed = self.budget <= 0
        if failed.any():
            self.dead_until[failed] = t + self.response_h(int(failed.sum()))
            self.budget[failed] = self.rng.exponential(size=int(failed.sum()))
        if self.newly_dry.any() and self.world.fail_rate.any():
            self.help_due[self.newly_dry] = t + self.response_h(int(self.newly_dry.sum()))
        come = self.help_due <= t
        if come.any():
            self.fuel[come] = self.heater["tank_l"]
            self.help_due[come] = np.inf
            self.fuel_out[come] = np.nan

    def judge(self, t: float) -> None:
        edge, high = self.x[:, 3], self.request["load"]["high_c"]
        self.coldest_h[edge < self.coldest] = t
        self.coldest = np.minimum(self.coldest, edge)
        self.warmest = np.maximum(self.warmest, self.x[:, 3:5].max(axis=1))
        lost = (edge <= self.world.damage_c) & ~(self.cold | self.hot | self.fault)
        heatless = (t < self.dead_until) | (self.fuel <= 0)
        self.fault |= lost & heatless
        self.cold |= lost & ~heatless
        if high is not None:
            self.hot |= (self.warmest >= high) & ~(self.cold | self.fault)
        if self.heat_stops_h is not None and t >= self.heat_stops_h:
            hit = np.isnan(self.damage_h) & (edge <= self.world.damage_c)
            self.damage_h[hit] = t - self.heat_stops_h


def simulate(
    request: dict[str, Any], world: World, *, heat_stops_h: float | None = None, trace: bool = False
) -> dict[str, Any]:
    """March the worlds through the trip; return what the calculator promises, resolved, one entry per world.

    `rows` (with `trace`) holds hour, air, lining, edge, core and delivered heat of the first world every six minutes.
    """
    trial, rows = Trial(request, world, heat_stops_h=heat_stops_h), []
    for k in range(round(trial.hours * 3600 / STEP_S)):
        trial.advance(k)
        if trace and k % 36 == 0:
            rows.append((k * STEP_S / 3600, *trial.x[0, 1:5], trial.x[0, 0]))
        if heat_stops_h is not None and not np.isnan(trial.damage_h).any():
            break
    return {
        "coldest": trial.coldest,
        "coldest_h": trial.coldest_h,
        "warmest": trial.warmest,
        "fuel": trial.burned,
        "engine": trial.engine,
        "fuel_out": trial.fuel_out,
        "damage_h": trial.damage_h,
        "cold": trial.cold,
        "hot": trial.hot,
        "fault": trial.fault,
        "lost": trial.cold | trial.hot | trial.fault,
        "rows": np.array(rows),
    }


def warm_up_h(request: dict[str, Any], *, loaded: bool, limit_h: float = 24.0) -> float | None:
    """Hours of full fire until the air of a soaked box reaches the set point; None when it never does."""
    if not loaded:
        request = {**request, "load": {**request["load"], "mass_kg": 1e-6}}
    plant = Plant(request, nominal_world(request))
    trip, load = request["trip"], request["load"]
    soak = trip["ambient_c"][0]
    if soak >= trip["set_point_c"]:
        return 0.0
    matrix = plant.step(0.0)[0]
    x = np.zeros(7)
    x[1:3] = soak
    x[3:5] = load["temperature_c"]
    x[5], x[6] = plant.q_max[0], soak
    for k in range(int(limit_h * 3600 / STEP_S)):
        if x[1] >= trip["set_point_c"]:
            return k * STEP_S / 3600
        x = matrix @ x
    return None
