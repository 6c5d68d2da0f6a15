"""Runs worlds step by step from departure to arrival."""

from __future__ import annotations

import numpy as np

from fleet.simulator.doors import door_conductance
from fleet.simulator.errors import SimulatorError
from fleet.simulator.integrator import Integrator
from fleet.simulator.network import AIR, EDGE, LINING, build_chain
from fleet.simulator.phase import Freezing
from fleet.simulator.quantities import Bools, Floats
from fleet.simulator.supply import Supply
from fleet.simulator.thermostat import Thermostat
from fleet.simulator.weather import at_time
from fleet.simulator.worlds import INNER_LAYERS, STEP_S, Truth, Worlds


class Journey:
    """One run of n worlds. Create it, `run` it once, read the `Truth` it returns."""

    def __init__(
        self, worlds: Worlds, *, rng: np.random.Generator, step_s: float = STEP_S, inner: int = INNER_LAYERS
    ) -> None:
        if not 1.0 <= step_s <= 300.0:
            raise SimulatorError(f"step: {step_s} s is outside 1..300")
        self.worlds, self.step_s, n = worlds, step_s, len(worlds.fuel_l)
        self.chain = build_chain(worlds.box, worlds.load, inner=inner)
        self.integrator = Integrator(self.chain, step_s=step_s)
        self.thermostat = Thermostat(worlds.heater, step_s=step_s)
        self.freezing = Freezing(self.chain, worlds.load)
        self.supply = Supply(worlds.heater, fuel_l=worlds.fuel_l, rate_per_h=worlds.rate_per_h, aid=worlds.aid, rng=rng)
        self.temps = self.first_temps()
        self.first_heat_j = self.heat_content()
        self.min_edge, self.min_edge_s = self.temps[EDGE].copy(), np.zeros(n)
        self.max_load = self.temps[EDGE:].max(axis=0)
        self.cold_at_s = np.where(self.min_edge <= worlds.load.damage_c, 0.0, np.inf)
        self.hot_at_s = np.where(self.max_load >= worlds.load.high_c, 0.0, np.inf)
        self.delivered_j, self.lost_j = np.zeros(n), np.zeros(n)

    def first_temps(self) -> Floats:
        """Return the temperatures at departure and warm the coolant of the units that are already at work."""
        w, chain = self.worlds, self.chain
        at_set = np.isnan(w.box_start_c)
        air = np.where(at_set, w.set_point_c, w.box_start_c)
        film, leak = chain.link[LINING], chain.leak[LINING]
        # A box that has been held at its set point has its lining in balance with it, and its heater at
        # work.
        lining = np.where(at_set, (film * air + leak * w.ambient_c[0]) / (film + leak), w.box_start_c)
        need = film * (air - lining) + chain.link[AIR] * (air - w.load.temperature_c)
        self.thermostat.settle(np.where(at_set, need, 0.0) * 1.0)
        cold = np.flatnonzero(~at_set)
        self.thermostat.chill(cold)
        self.thermostat.powered[cold] = False
        temps = np.tile(w.load.temperature_c, (len(chain.capacity), 1))
        temps[LINING], temps[AIR] = lining, air
        return temps

    @property
    def air_c(self) -> Floats:
        """Air of the boxes now [degC], shape (n,)."""
        return self.temps[AIR]

    def heat_content(self) -> Floats:
        """Return the heat stored in the box relative to 0 degC and liquid [J], shape (n,)."""
        return (self.chain.capacity * self.temps).sum(axis=0) - self.freezing.ice_j.sum(axis=0)

    def run(self, *, keep_series: bool = False) -> Truth:
        """Return what happened; with `keep_series` also every step's temperatures and heat."""
        steps = round(self.worlds.end_s.max() / self.step_s)
        temps, heat = [self.temps], [self.thermostat.heat_w]
        for k in range(steps):
            self.step(k * self.step_s)
            if keep_series:
                temps.append(self.temps)
                heat.append(self.thermostat.heat_w)
        return self.truth(np.array(temps) if keep_series else None, np.array(heat) if keep_series else None)

    def step(self, now_s: float) -> None:
        """Move all worlds on by one step that starts now."""
        w, step_s = self.worlds, self.step_s
        middle_s = now_s + step_s / 2.0
        under_way = middle_s < w.end_s
        here = (w.stop_start_s <= middle_s) & (middle_s < w.stop_end_s)
        share = (here * w.stop_share).sum(axis=0).clip(max=1.0)
        ambient = at_time(w.ambient_c, middle_s / 3600.0)
        self.supply.refill(np.any(here & w.stop_refuel, axis=0))
        wanted = ~np.any(here & w.stop_off, axis=0) & (middle_s < w.heat_stops_s) & under_way
        power = wanted & self.supply.works(now_s)
        self.thermostat.decide(now_s=now_s, air_c=self.temps[AIR], set_point_c=w.set_point_c, power=power)
        running = self.thermostat.running(power=power)
        heat = self.thermostat.deliver(power=power)
        self.open_doors(share, ambient)
        temps, lost = self.integrator.advance(self.temps, heat_w=heat, ambient_c=ambient)
        self.freezing.hold(temps, self.chain)
        self.supply.run(now_s=now_s, step_s=step_s, running=running, firing=self.thermostat.firing)
        self.delivered_j += heat * step_s
        self.lost_j += lost
        self.temps, before = temps, self.temps
        self.watch(before, now_s=now_s, under_way=under_way)

    def open_doors(self, share: Floats, ambient: Floats) -> None:
        """Give the integrator the doorways of this step."""
        door = np.zeros_like(share)
        if share.any():
            door = door_conductance(self.worlds.box, air_c=self.temps[AIR], ambient_c=ambient, share=share)
        self.integrator.set_door(door)

    def watch(self, before: Floats, *, now_s: float, under_way: Bools) -> None:
        """Note extremes, and when a damage limit was passed (linear within the step)."""
        load = self.worlds.load
        edge, hottest = self.temps[EDGE], self.temps[EDGE:].max(axis=0)
        colder = under_way & (edge < self.min_edge)
        self.min_edge = np.where(colder, edge, self.min_edge)
        self.min_edge_s = np.where(colder, now_s + self.step_s, self.min_edge_s)
        self.max_load = np.where(under_way, np.maximum(self.max_load, hottest), self.max_load)
        cold = np.flatnonzero(under_way & (edge <= load.damage_c) & np.isinf(self.cold_at_s))
        if len(cold):
            start = before[EDGE, cold]
            part = (start - load.damage_c[cold]) / (start - edge[cold])
            self.cold_at_s[cold] = now_s + self.step_s * part.clip(0.0, 1.0)
        hot = under_way & (hottest >= load.high_c) & np.isinf(self.hot_at_s)
        self.hot_at_s = np.where(hot, now_s + self.step_s, self.hot_at_s)

    def truth(self, temps: Floats | None, heat: Floats | None) -> Truth:
        """Return the record of the run."""
        w, supply = self.worlds, self.supply
        loaded = w.load.mass_kg > 0
        nothing = np.full(len(loaded), np.inf)
        return Truth(
            min_edge_c=np.where(loaded, self.min_edge, np.nan),
            min_edge_h=np.where(loaded, self.min_edge_s / 3600.0, np.nan),
            max_c=np.where(loaded, self.max_load, np.nan),
            cold_at_h=np.where(loaded, self.cold_at_s / 3600.0, nothing),
            hot_at_h=np.where(loaded, self.hot_at_s / 3600.0, nothing),
            fuel_used_l=supply.used_l,
            engine_h=supply.engine_h,
            breakdowns=supply.breakdowns,
            fuel_out_h=supply.dry_at_s / 3600.0,
            delivered_j=self.delivered_j,
            lost_j=self.lost_j,
            gained_j=self.heat_content() - self.first_heat_j,
            temps_c=temps,
            heat_w=heat,
        )
