"""All units of a fleet at once, minute by minute, each in its own place of its agenda."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fleet.simulator.agenda import Agenda, Carried, Segment
from fleet.simulator.doors import door_conductance
from fleet.simulator.errors import SimulatorError
from fleet.simulator.integrator import Integrator
from fleet.simulator.network import AIR, EDGE, build_chain
from fleet.simulator.phase import Freezing
from fleet.simulator.quantities import Bools, Floats, Load, filled, taken
from fleet.simulator.roster import Roster
from fleet.simulator.supply import Help, Supply
from fleet.simulator.thermostat import Thermostat
from fleet.simulator.tracks import Tracks
from fleet.simulator.weather import at_time

INNER_LAYERS = 3
LOWEST_FILL, HIGHEST_FILL = 0.3, 1.0


@dataclass(frozen=True, slots=True)
class Reliability:
    """Breakdowns per engine hour (gamma: mean and shape) and the time until heat is back. Assumptions."""

    failures_per_h: float = 1.0 / 500.0
    shape: float = 2.0
    help_median_h: float = 4.0
    help_gsd: float = 1.8
    silent_share: float = 0.3
    """Share of breakdowns the unit does not report: it goes on calling for heat that does not come."""


class Yard:
    """The true state of n units. `step` moves it on; attributes of shape (n,) may be read between steps."""

    def __init__(
        self,
        roster: Roster,
        agendas: Sequence[Agenda],
        *,
        ambient_c: Floats,
        reliability: Reliability,
        rng: np.random.Generator,
        tracks: Tracks | None = None,
        step_s: int = 60,
    ) -> None:
        if ambient_c.ndim != 2 or ambient_c.shape[1] != len(roster) or len(agendas) != len(roster):
            raise SimulatorError("yard: one agenda and one column of weather per unit are required")
        n = len(roster)
        self.roster, self.ambient_hourly, self.step_s, self.now_s = roster, ambient_c, step_s, 0
        self.moving_factor = roster.box.moving_factor
        self.box = replace(roster.box, moving_factor=np.ones(n))
        empty = np.zeros(n)
        self.load = filled(Load, n, mass_kg=empty, temperature_c=ambient_c[0], freezes_c=empty - 1.0)
        self.unit_on, self.door_open, self.moving, self.running = np.zeros((4, n), dtype=np.bool_)
        self.set_point_c, self.heat_w, self.ambient_c = empty.copy(), empty.copy(), ambient_c[0].copy()
        self.chain = build_chain(self.box, self.load, inner=INNER_LAYERS)
        self.integrator = Integrator(self.chain, step_s=step_s)
        self.thermostat = Thermostat(roster.heater, step_s=step_s)
        self.thermostat.powered[:] = False
        self.tracks = tracks or Tracks(n, rng=np.random.default_rng(0))
        self.freezing = Freezing(self.chain, self.load)
        rate = reliability.failures_per_h * rng.gamma(reliability.shape, 1.0 / reliability.shape, size=n)
        self.supply = Supply(
            roster.heater,
            fuel_l=roster.heater.tank_l * rng.uniform(LOWEST_FILL, HIGHEST_FILL, n),
            rate_per_h=rate,
            aid=Help(np.full(n, reliability.help_median_h), np.full(n, np.log(reliability.help_gsd))),
            rng=rng,
        )
        self.rng, self.silent_share = rng, reliability.silent_share
        self.silent = np.zeros(n, dtype=np.bool_)
        self.temps = np.tile(ambient_c[0], (len(self.chain.capacity), 1))
        self.carried: list[Carried | None] = [None] * n
        self.damaged = np.zeros(n, dtype=np.bool_)
        self.records: list[dict[str, Any]] = []
        self.due = self.by_step(agendas)

    def by_step(self, agendas: Sequence[Agenda]) -> dict[int, list[tuple[int, Segment]]]:
        """Return the changes of control of all units, by the step at which they happen."""
        due: dict[int, list[tuple[int, Segment]]] = {}
        for unit, agenda in enumerate(agendas):
            for segment in agenda.segments:
                due.setdefault(segment.start_s // self.step_s, []).append((unit, segment))
        return due

    def step(self) -> None:
        """Move the whole fleet on by one step."""
        self.touch(self.due.pop(self.now_s // self.step_s, ()))
        self.ambient_c = at_time(self.ambient_hourly, (self.now_s + self.step_s / 2) / 3600.0)
        power = self.unit_on & self.supply.works(self.now_s)
        air = self.temps[AIR]
        self.thermostat.decide(now_s=self.now_s, air_c=air, set_point_c=self.set_point_c, power=power)
        self.running = self.thermostat.running(power=power)
        heat = self.thermostat.deliver(power=power)
        door = np.zeros_like(heat)
        if self.door_open.any():
            share = self.door_open.astype(np.float64)
            door = door_conductance(self.box, air_c=air, ambient_c=self.ambient_c, share=share)
        self.integrator.set_door(door)
        self.temps, _ = self.integrator.advance(self.temps, heat_w=heat, ambient_c=self.ambient_c)
        self.freezing.hold(self.temps, self.chain)
        self.heat_w = self.thermostat.heat_w
        self.supply.run(now_s=self.now_s, step_s=self.step_s, running=self.running, firing=self.thermostat.firing)
        self.tracks.move(self.moving, step_s=self.step_s)
        self.now_s += self.step_s
        self.take_notes()

    def touch(self, changes: Sequence[tuple[int, Segment]]) -> None:
        """Let people change the controls, the doors and the load of some units."""
        if not changes:
            return
        columns = np.array([unit for unit, _ in changes])
        for unit, segment in changes:
            self.unit_on[unit], self.door_open[unit] = segment.unit_on, segment.door_open
            self.moving[unit], self.set_point_c[unit] = segment.moving, segment.set_point_c
            self.box.moving_factor[unit] = self.moving_factor[unit] if segment.moving else 1.0
            if segment.refuel:
                self.supply.refill(np.arange(len(self.roster)) == unit)
            if segment.carried is not self.carried[unit]:
                self.exchange_load(unit, segment.carried)
        fresh = build_chain(taken(self.box, columns), taken(self.load, columns), inner=INNER_LAYERS)
        self.chain.put(columns, fresh)
        self.integrator.factor(columns)

    def exchange_load(self, unit: int, carried: Carried | None) -> None:
        """Bring a load in, or take it or a part of it out."""
        before, load = self.carried[unit], self.load
        self.carried[unit] = carried
        if before is not None and carried is not None and before.trip == carried.trip:
            load.mass_kg[unit] = carried.mass_kg
            self.freezing.lighten(unit, carried.mass_kg / before.mass_kg)
            return
        self.damaged[unit] = False
        load.mass_kg[unit] = carried.mass_kg if carried else 0.0
        if carried:
            load.temperature_c[unit] = carried.temperature_c
            load.cp_kj_kgk[unit] = carried.cargo.cp_kj_kgk
            load.freezes_c[unit], load.damage_c[unit] = carried.cargo.freezes_c, carried.cargo.damage_c
            load.high_c[unit] = carried.cargo.high_c
            self.temps[EDGE:, unit] = carried.temperature_c
        self.freezing.renew(unit, load)

    def take_notes(self) -> None:
        """Record what failed in this step, and loads that passed a damage limit."""
        for unit in self.supply.just_failed.tolist():
            self.silent[unit] = self.rng.random() < self.silent_share
            facts = {"back_at_s": float(self.supply.down_until_s[unit]), "silent": bool(self.silent[unit])}
            self.note("breakdown", unit, **facts)
        for unit in self.supply.just_dry.tolist():
            self.note("out_of_fuel", unit, back_at_s=float(self.supply.dry_until_s[unit]))
        edge, hottest = self.temps[EDGE], self.temps[EDGE:].max(axis=0)
        passed = (edge <= self.load.damage_c) | (hottest >= self.load.high_c)
        for unit in np.flatnonzero(passed & (self.load.mass_kg > 0) & ~self.damaged).tolist():
            carried = self.carried[unit]
            cause = "cold" if edge[unit] <= self.load.damage_c[unit] else "hot"
            self.note("damage", unit, cause=cause, trip=carried.trip if carried else "")
            self.damaged[unit] = True

    def note(self, kind: str, unit: int, **facts: Any) -> None:
        """Put a record of this moment into the truth."""
        self.records.append({"kind": kind, "unit": self.roster.numbers[unit], "at_s": self.now_s, **facts})

    def shows_running(self) -> Bools:
        """Return what the units say of their heaters: a silent breakdown still claims to run."""
        down = self.silent & self.unit_on & (self.now_s < self.supply.down_until_s)
        return self.running | (down & (self.temps[AIR] < self.set_point_c))
