"""Has the heat stopped, though nobody said so? A watch over one unit, reading by reading.

Two suppositions are weighed against each other while the unit says that it heats: heat comes as it says, or none
comes. Each reading adds to a sum the half difference of their squared, clipped misfits (a CUSUM of the log likelihood
ratio, Page 1954); the sum never falls below 0, and an alarm is due where it passes a level. What fits neither, such as
a door that nobody reported, adds nothing because both misfits are clipped alike.

Two measures take part. *Rise*: discharge air against return air. *Air*: the heat that the box took up, from the
measured return air alone: what flows into the lining (whose temperature follows the air behind a lag), into the load,
and into the air itself. Only readings inside a run that has lasted for a while count: a run of ten minutes proves
nothing by readings five minutes apart.

A separate, trivial rule: the unit is on, its heater says off, and the air is colder than its thermostat allows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from math import exp, isfinite, nan

from thermal.health.readings import Plant, Readings

__all__ = ["ATTEND_AT", "STOP_AT", "HeatWatch", "Level", "WatchState"]

CLIP = 9.0
ATTEND_AT, STOP_AT = 14.0, 24.0
"""Levels of the sum; chosen on tuning worlds for the false alarms that docs/learning.md states."""
MOST = 60.0
"""The sum grows no further, so that heat that is back is believed within a few readings."""
BACK_AT = 1.0
FALLEN_K = 2.0
"""A stop needs the air to have fallen so far since the doubt began, or to be below the thermostat's band."""
SUSTAINED_S = 600.0
LONGEST_STEP_S = 20 * 60.0
FORGET_AFTER_S = 60 * 60.0
STUCK_READINGS = 3
RISE_SD_K, RISE_SD_SHARE = 0.6, 0.15
AIR_SD_W, AIR_SD_SHARE = 600.0, 0.22
EDGE_W_K, EDGE_TAU_S = 130.0, 4 * 3600.0
"""What a load unseen exchanges with the air, and how slowly it follows it."""
COLD_BELOW_BAND_K = 2.0
COLD_FOR_S = 20 * 60.0
COLD_FALL_K = 1.0
DOOR_REST_S = 15 * 60.0


class Level(StrEnum):
    """What the watch says."""

    QUIET = "quiet"
    ATTEND = "attend"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class WatchState:
    """Everything the watch remembers between two readings. NaN: not known yet."""

    at_s: float = nan
    air_c: float = nan
    discharge_c: float = nan
    ambient_c: float = nan
    lining_c: float = nan
    edge_c: float = nan
    run_s: float = 0.0
    cold_s: float = 0.0
    cold_air_c: float = nan
    """Air when the unit was first found too cold without calling [degC]."""
    shut_s: float = 0.0
    same_air: int = 0
    same_discharge: int = 0
    lost: float = 0.0
    doubt_air_c: float = nan
    """Air when the sum last left 0 [degC]."""
    level: Level = Level.QUIET
    not_called: bool = False


@dataclass(frozen=True, slots=True)
class HeatWatch:
    """The watch of one unit. `full_rise_k`: discharge over return air at full fire, learned; None: not used."""

    plant: Plant
    full_rise_k: float | None = None

    def run(self, readings: Readings, state: WatchState | None = None) -> list[WatchState]:
        """Return the state after each reading, in order. Readings not newer than the state are passed over."""
        state = state or WatchState()
        out: list[WatchState] = []
        columns = zip(
            readings.at_s.tolist(),
            readings.return_air_c.tolist(),
            readings.discharge_air_c.tolist(),
            readings.ambient_c.tolist(),
            readings.set_point_c.tolist(),
            readings.running.tolist(),
            readings.on.tolist(),
            readings.door.tolist(),
            strict=True,
        )
        for at_s, air, discharge, ambient, set_c, running, on, door in columns:
            if not at_s <= state.at_s:
                state = self.step(state, at_s, air, discharge, ambient, set_c, running, on, door)
            out.append(state)
        return out

    def step(
        self,
        state: WatchState,
        at_s: float,
        air: float,
        discharge: float,
        ambient: float,
        set_c: float,
        running: float,
        on: float,
        door: float,
    ) -> WatchState:
        """Return the state after one more reading."""
        if not isfinite(air):
            return state
        dt = at_s - state.at_s
        ambient = ambient if isfinite(ambient) else state.ambient_c
        moved, taken_w = self._stores(state, dt, air, ambient)
        calls = running == 1 and on != 0 and door != 1
        fresh = replace(
            moved,
            at_s=at_s,
            air_c=air,
            discharge_c=discharge if isfinite(discharge) else state.discharge_c,
            ambient_c=ambient,
            run_s=state.run_s + dt if calls and state.run_s > 0 and dt <= LONGEST_STEP_S else (1.0 if calls else 0.0),
            shut_s=0.0 if door == 1 else (state.shut_s + dt if dt <= FORGET_AFTER_S else DOOR_REST_S),
            same_air=state.same_air + 1 if air == state.air_c else 0,
            same_discharge=state.same_discharge + 1 if discharge == state.discharge_c else 0,
        )
        if not dt <= FORGET_AFTER_S:
            fresh = replace(fresh, lost=0.0)
        cold_s = self._cold_s(state, fresh, dt, set_c, running, on, door)
        fresh = replace(fresh, cold_s=cold_s, cold_air_c=state.cold_air_c if cold_s > 1.0 else air)
        fresh = self._weigh(fresh, discharge, taken_w if dt <= LONGEST_STEP_S else None)
        return self._judge(state, fresh, on, set_c)

    def _stores(self, state: WatchState, dt: float, air: float, ambient: float) -> tuple[WatchState, float | None]:
        """Return the state with lining and load moved on under the measured air, and the heat they took [W]."""
        plant = self.plant
        if not isfinite(state.lining_c) or not isfinite(ambient):
            behind = air if not isfinite(ambient) else self._rest(air, ambient)
            return replace(state, lining_c=behind, edge_c=air), None
        mean_air = (air + state.air_c) / 2
        tau = plant.lining_j_k / (plant.film_w_k + self._shell)
        keep, goal = exp(-dt / tau), self._rest(mean_air, ambient)
        lining = goal + (state.lining_c - goal) * keep
        mean_lining = goal + (state.lining_c - goal) * (1 - keep) * tau / dt
        edge = mean_air + (state.edge_c - mean_air) * exp(-dt / EDGE_TAU_S)
        taken = plant.film_w_k * (mean_air - mean_lining) + EDGE_W_K * (mean_air - (edge + state.edge_c) / 2)
        taken += plant.air_j_k * (air - state.air_c) / dt
        return replace(state, lining_c=lining, edge_c=edge), taken

    @property
    def _shell(self) -> float:
        """Conductance from lining to ambient [W/K]."""
        return 1 / (1 / self.plant.ua_w_k - 1 / self.plant.film_w_k)

    def _rest(self, air: float, ambient: float) -> float:
        """Return where the lining settles between air and ambient [degC]."""
        film = self.plant.film_w_k
        return (film * air + self._shell * ambient) / (film + self._shell)

    def _cold_s(
        self, state: WatchState, fresh: WatchState, dt: float, set_c: float, running: float, on: float, door: float
    ) -> float:
        """Return for how long the unit has been on, not calling, and too cold [s]."""
        floor = set_c - self.plant.hysteresis_k - COLD_BELOW_BAND_K
        cold = on == 1 and running == 0 and door != 1 and fresh.air_c < floor and fresh.shut_s >= DOOR_REST_S
        if not cold:
            return 0.0
        return state.cold_s + dt if state.cold_s > 0 and dt <= FORGET_AFTER_S else 1.0

    def _weigh(self, fresh: WatchState, discharge: float, taken_w: float | None) -> WatchState:
        """Return the state with the evidence of this reading added to the sum."""
        if fresh.run_s < SUSTAINED_S:
            return fresh
        full_w, low_w = self.plant.heat_w, self.plant.low_w
        exact = not self.plant.always_runs  # an engine that never stops gives its low fire at least
        due_w = full_w if exact else low_w
        if fresh.same_air >= STUCK_READINGS - 1:
            return fresh
        gain = 0.0
        if self.full_rise_k is not None and isfinite(discharge) and fresh.same_discharge < STUCK_READINGS - 1:
            due_k = self.full_rise_k * due_w / full_w
            gain += _evidence(discharge - fresh.air_c, due_k, RISE_SD_K + RISE_SD_SHARE * due_k, exact)
        if taken_w is not None and fresh.shut_s >= DOOR_REST_S:
            gain += _evidence(taken_w, due_w, AIR_SD_W + AIR_SD_SHARE * due_w, exact)
        lost = min(max(fresh.lost + gain, 0.0), MOST)
        began = fresh.air_c if lost == 0.0 or fresh.lost == 0.0 else fresh.doubt_air_c
        return replace(fresh, lost=lost, doubt_air_c=began)

    def _judge(self, state: WatchState, fresh: WatchState, on: float, set_c: float) -> WatchState:
        """Return the state with its level: up by the sum and the air, down when heat is seen again or the unit is
        off."""
        level = state.level
        if on == 0 or fresh.lost < BACK_AT:
            level = Level.QUIET
        elif fresh.lost >= ATTEND_AT:
            below = fresh.air_c < set_c - self.plant.hysteresis_k - COLD_BELOW_BAND_K
            fallen = fresh.air_c <= fresh.doubt_air_c - FALLEN_K
            sure = fresh.lost >= STOP_AT and (below or fallen)
            level = Level.STOP if sure or level is Level.STOP else Level.ATTEND
        lost = 0.0 if on == 0 else fresh.lost
        # A sensor that reads low makes the air look cold, but not colder and colder.
        falls = fresh.air_c <= fresh.cold_air_c - COLD_FALL_K
        not_called = fresh.cold_s >= COLD_FOR_S and (falls or state.not_called)
        return replace(fresh, lost=lost, level=level, not_called=not_called)


def _evidence(seen: float, due: float, sd: float, exact: bool) -> float:
    """Return the half difference of the squared misfits: heat as due, no heat; more than due fits when not exact."""
    with_heat = (seen - due) / sd
    if not exact:
        with_heat = min(with_heat, 0.0)
    without = seen / sd
    return (min(with_heat * with_heat, CLIP) - min(without * without, CLIP)) / 2
