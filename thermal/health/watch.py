"""Has the heat stopped, though nobody said so? A watch over one unit, reading by reading.

Two suppositions are weighed against each other while the unit says that it heats: heat comes as it says, or none
comes. Each reading adds to a sum the half difference of their squared, clipped misfits (a CUSUM of the log likelihood
ratio, Page 1954); the sum never falls below 0, and an alarm is due where it passes a level. What fits neither adds
nothing because both misfits are clipped alike.

Two measures take part. *Rise*: discharge air against return air, less what the two sensors show at rest. *Air*: the
heat that the box took up, from the measured return air alone: what flows into the lining (whose temperature follows the
air behind a lag), into the load, and into the air itself. Only readings inside a run that has lasted for a while count:
a run of ten minutes proves nothing by readings five minutes apart. An engine that never stops owes its low fire, and
all of its heat once the air is far below the set point.

Doors that nobody reports show by what no shut box can do: without heat its air falls to its lining within minutes and
no further, while open doors pull it below the lining. From then on the air proves nothing until it comes back at once.

A separate, trivial rule: the unit is on, its heater says off, and the air is colder than its thermostat allows, by the
sensor that it is: where it usually starts is learned.
"""

from __future__ import annotations

from math import exp, isnan, nan

from thermal.health.readings import Plant, Readings
from thermal.health.watch_state import Level, WatchState

__all__ = ["ATTEND_AT", "STOP_AT", "HeatWatch", "Level", "WatchState"]

CLIP = 9.0
ATTEND_AT, STOP_AT = 9.0, 20.0
"""Levels of the sum; chosen on tuning worlds for the false alarms that docs/learning.md states."""
MOST = 60.0
"""The sum grows no further, so that heat that is back is believed within a few readings."""
BACK_AT = 1.0
FALLEN_K = 2.0
"""A stop needs the air to have fallen so far since the doubt began, or to be below the thermostat's band."""
SUSTAINED_LAGS = 1.7
"""Time constants of the coolant after which a run owes its heat: four fifths of it are there."""
LONGEST_STEP_S = 20 * 60.0
FORGET_AFTER_S = 60 * 60.0
STUCK_READINGS = 3
RISE_SD_K, RISE_SD_SHARE = 0.6, 0.15
SURE_RISE_K = 4.0
"""A discharge so much warmer than the return air is heat, also before the rise at full fire is learned."""
REST_AFTER_S, REST_SHARE, REST_MOST_K = 30 * 60.0, 0.2, 1.5
"""The coil is as cold as the air so long after the unit was switched off; share of each reading in what is learned."""
AIR_SD_W, AIR_SD_SHARE = 600.0, 0.22
EDGE_W_K, EDGE_TAU_S = 130.0, 4 * 3600.0
"""What a load unseen exchanges with the air, and how slowly it follows it."""
SPAN_UNSEEN_K = 15.0
"""Air above ambient where no sensor shows it: it only tells how far the lining is below the air."""
BELOW_BAND_K = 2.0
COLD_FOR_S = 20 * 60.0
COLD_FALL_K = 1.0
START_SHARE, START_MOST_K = 0.3, 10.0
DOOR_REST_S = 15 * 60.0
DOOR_BELOW_K, DOOR_BELOW_SHARE, DOOR_BELOW_EDGE = 1.2, 0.05, 0.25
"""The air of a shut box is no further below its lining: for noise, by this share of lining over ambient, and by this
share of lining over load (film of a full load against that of the lining)."""
DOOR_BACK_K, DOOR_BACK_SHARE, DOOR_HEAT_SHARE = 2.5, 0.5, 0.6
"""Doors are shut again when the air comes up by so much at once, or by this share of its fall, or takes this share of
the heat in: an open box does not."""
OPEN_SHARE, DOOR_LONGEST_S = 0.3, 2 * 3600.0


class HeatWatch:
    """The watch of one unit. `full_rise_k`: discharge over return air at full fire, learned; None: not used."""

    def __init__(self, plant: Plant, full_rise_k: float | None = None) -> None:
        self.plant, self.full_rise_k = plant, full_rise_k
        shell = 1 / (1 / plant.ua_w_k - 1 / plant.film_w_k)
        self.air_share = plant.film_w_k / (plant.film_w_k + shell)
        self.lining_tau_s = plant.lining_j_k / (plant.film_w_k + shell)
        self.sustained_s = SUSTAINED_LAGS * plant.lag_s

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
        if isnan(air):
            return state
        new, dt = state.copy(), at_s - state.at_s
        new.at_s, new.air_c, new.running = at_s, air, running
        new.same_air = state.same_air + 1 if air == state.air_c else 0
        new.same_discharge = state.same_discharge + 1 if discharge == state.discharge_c else 0
        if not isnan(discharge):
            new.discharge_c = discharge
        if not isnan(ambient):
            new.ambient_c = ambient
        taken_w = self._move_stores(new, state, dt)
        self._count(new, state, dt, set_c, on, door)
        if isnan(door):
            self._guess_door(new, state, dt, taken_w)
        if not dt <= FORGET_AFTER_S:
            new.lost = 0.0
        self._learn(new, state, set_c, on)
        self._find_cold(new, state, dt, set_c, on, door)
        if new.run_s >= self.sustained_s and new.same_air < STUCK_READINGS - 1:
            self._weigh(new, discharge, taken_w if dt <= LONGEST_STEP_S else nan, set_c)
        self._judge(new, state, on, set_c)
        return new

    def _move_stores(self, new: WatchState, old: WatchState, dt: float) -> float:
        """Move lining and load on under the measured air; return the heat they took [W], NaN before there were any."""
        plant, air = self.plant, new.air_c
        ambient = air - SPAN_UNSEEN_K if isnan(new.ambient_c) else new.ambient_c
        if isnan(old.lining_c):
            new.lining_c, new.edge_c = self._rest(air, ambient), air
            return nan
        mean_air = (air + old.air_c) / 2
        keep, goal = exp(-dt / self.lining_tau_s), self._rest(mean_air, ambient)
        behind = old.lining_c - goal
        new.lining_c = goal + behind * keep
        mean_lining = goal + behind * (1 - keep) * self.lining_tau_s / dt
        new.edge_c = mean_air + (old.edge_c - mean_air) * exp(-dt / EDGE_TAU_S)
        taken = plant.film_w_k * (mean_air - mean_lining) + EDGE_W_K * (mean_air - (new.edge_c + old.edge_c) / 2)
        return taken + plant.air_j_k * (air - old.air_c) / dt

    def _rest(self, air: float, ambient: float) -> float:
        """Return where the lining settles between air and ambient [degC]."""
        return ambient + self.air_share * (air - ambient)

    def _count(self, new: WatchState, old: WatchState, dt: float, set_c: float, on: float, door: float) -> None:
        """Move the clocks on."""
        calls = new.running == 1 and on != 0 and door != 1
        new.run_s = _clock(old.run_s, dt, LONGEST_STEP_S) if calls else 0.0
        under = calls and new.air_c < set_c - self.plant.hysteresis_k - BELOW_BAND_K
        new.under_s = _clock(old.under_s, dt, LONGEST_STEP_S) if under else 0.0
        new.off_s = old.off_s + dt if on == 0 and dt > 0 else 0.0
        new.shut_s = 0.0 if door == 1 else (old.shut_s + dt if dt <= FORGET_AFTER_S else DOOR_REST_S)

    def _guess_door(self, new: WatchState, old: WatchState, dt: float, taken_w: float) -> None:
        """See by the air whether doors are open that nobody reports."""
        if not dt <= FORGET_AFTER_S or isnan(old.lining_c):
            new.opened_c = nan
            return
        air = new.air_c
        if isnan(old.opened_c):
            ambient = air - SPAN_UNSEEN_K if isnan(new.ambient_c) else new.ambient_c
            below = DOOR_BELOW_K + DOOR_BELOW_SHARE * max(new.lining_c - ambient, 0.0)
            below += DOOR_BELOW_EDGE * max(new.lining_c - new.edge_c, 0.0)
            if air < new.lining_c - below:
                new.opened_c, new.open_c, new.open_s, new.shut_s = old.air_c, air, 0.0, 0.0
            return
        new.open_s, new.open_c = old.open_s + dt, old.open_c + OPEN_SHARE * (air - old.open_c)
        back = air - old.open_c >= max(DOOR_BACK_K, DOOR_BACK_SHARE * (old.opened_c - old.open_c))
        if back or taken_w >= DOOR_HEAT_SHARE * self.plant.heat_w or new.open_s >= DOOR_LONGEST_S:
            new.opened_c = nan
        else:
            new.shut_s = 0.0

    def _learn(self, new: WatchState, old: WatchState, set_c: float, on: float) -> None:
        """Learn how the sensors stand: discharge against return air at rest, and where the heater starts."""
        if new.off_s >= REST_AFTER_S and new.same_discharge == 0 and new.same_air < STUCK_READINGS - 1:
            rest = min(max(new.discharge_c - new.air_c, -REST_MOST_K), REST_MOST_K)
            if not isnan(rest):
                new.rest_k = rest if isnan(old.rest_k) else old.rest_k + REST_SHARE * (rest - old.rest_k)
        if old.running == 0 and new.running == 1 and on == 1 and old.off_s == 0 and new.shut_s >= DOOR_REST_S:
            below = min(max(set_c - new.air_c, 0.0), START_MOST_K)
            known = isnan(old.start_below_k)
            new.start_below_k = below if known else old.start_below_k + START_SHARE * (below - old.start_below_k)

    def _find_cold(self, new: WatchState, old: WatchState, dt: float, set_c: float, on: float, door: float) -> None:
        """Find out whether the unit is on, not calling, too cold, and cools."""
        usual = self.plant.hysteresis_k if isnan(new.start_below_k) else new.start_below_k
        floor = set_c - max(usual, self.plant.hysteresis_k) - BELOW_BAND_K
        cold = on == 1 and new.running == 0 and door != 1 and new.air_c < floor and new.shut_s >= DOOR_REST_S
        new.cold_s = _clock(old.cold_s, dt, FORGET_AFTER_S) if cold else 0.0
        if new.cold_s <= 1.0:
            new.cold_air_c = new.air_c
        # A sensor that reads low makes the air look cold, but not colder and colder.
        falls = new.air_c <= new.cold_air_c - COLD_FALL_K
        new.not_called = new.cold_s >= COLD_FOR_S and (falls or old.not_called)

    def _weigh(self, new: WatchState, discharge: float, taken_w: float, set_c: float) -> None:
        """Add the evidence of this reading to the sum."""
        plant = self.plant
        # An engine that never stops gives its low fire at least, all of its heat when it is far too cold.
        exact = not plant.always_runs or new.under_s >= self.sustained_s
        due_w = plant.heat_w if exact else plant.low_w
        gain = 0.0
        if self.full_rise_k is not None and not isnan(discharge) and new.same_discharge < STUCK_READINGS - 1:
            rest_k = 0.0 if isnan(new.rest_k) else new.rest_k
            due_k = (self.full_rise_k - rest_k) * due_w / plant.heat_w
            gain += _evidence(discharge - new.air_c - rest_k, due_k, RISE_SD_K + RISE_SD_SHARE * due_k, exact)
        elif discharge - new.air_c >= SURE_RISE_K and new.same_discharge < STUCK_READINGS - 1:
            gain -= CLIP
        if not isnan(taken_w) and new.shut_s >= DOOR_REST_S:
            gain += _evidence(taken_w, due_w, AIR_SD_W + AIR_SD_SHARE * due_w, exact)
        if not exact and new.air_c > set_c + plant.hysteresis_k:
            gain = min(gain, 0.0)  # so warm that a lack of heat is nobody's loss; but heat that shows is heat
        before = new.lost
        new.lost = min(max(before + gain, 0.0), MOST)
        if new.lost == 0.0 or before == 0.0:
            new.doubt_air_c = new.air_c

    def _judge(self, new: WatchState, old: WatchState, on: float, set_c: float) -> None:
        """Set the level: up by the sum and the air, down when heat is seen again or the unit is off."""
        new.level = old.level
        if on == 0 or new.lost < BACK_AT:
            new.level = Level.QUIET
        elif new.lost >= ATTEND_AT:
            below = new.air_c < set_c - self.plant.hysteresis_k - BELOW_BAND_K
            fallen = new.air_c <= new.doubt_air_c - FALLEN_K
            sure = new.lost >= STOP_AT and (below or fallen)
            new.level = Level.STOP if sure or old.level is Level.STOP else Level.ATTEND
        if on == 0:
            new.lost = 0.0


def _clock(passed: float, dt: float, longest: float) -> float:
    """Return a clock moved on, started anew (at 1 s, so that it is seen to run) after a longer silence."""
    return passed + dt if passed > 0 and dt <= longest else 1.0


def _evidence(seen: float, due: float, sd: float, exact: bool) -> float:
    """Return the half difference of the squared misfits: heat as due, no heat; more than due fits when not exact."""
    with_heat = (seen - due) / sd
    if not exact:
        with_heat = min(with_heat, 0.0)
    without = seen / sd
    return (min(with_heat * with_heat, CLIP) - min(without * without, CLIP)) / 2
