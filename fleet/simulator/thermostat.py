"""The relay thermostat with its start-up run, minimum on and off times, low fire and coolant lag."""

from __future__ import annotations

import numpy as np

from fleet.simulator.quantities import Bools, Floats, Heater, Ints


class Thermostat:
    """State of n controllers and the heat that reaches their boxes.

    A controller switches on below set point minus hysteresis and off above set point plus hysteresis, but
    not before the minimum on or off time has passed. Whenever a unit gets power (switched on, repaired,
    refuelled) its engine first does the start-up run, whatever the box asks for. With a low fire the engine
    never stops while powered.
    """

    def __init__(self, heater: Heater, *, step_s: float) -> None:
        n = len(heater.output_kw)
        self.high_w = heater.output_kw * heater.derate * 1e3
        self.low_w = np.minimum(heater.output_low_kw * 1e3, self.high_w)
        self.always_runs = heater.burn_low_l_h > 0
        self.hysteresis_k = heater.hysteresis_k
        self.start_run_s = heater.start_run_min * 60.0
        self.on_s = np.maximum(heater.min_on_min * 60.0, self.start_run_s)
        self.off_s = heater.min_off_min * 60.0
        # Over one step the lagged heat keeps `keep` of its distance to the command at the end, `mean` on
        # average.
        lag_s = heater.coolant_lag_min * 60.0
        self.keep = np.exp(-step_s / lag_s)
        self.mean = (1.0 - self.keep) * lag_s / step_s
        self.firing = np.zeros(n, dtype=np.bool_)
        self.powered = np.ones(n, dtype=np.bool_)
        self.locked_until_s = np.full(n, -np.inf)
        self.heat_w = np.zeros(n)

    def settle(self, need_w: Floats) -> None:
        """Start in steady work: coolant warm enough for the need [W], firing if there is one."""
        self.heat_w = np.clip(need_w, self.low_w, self.high_w)
        self.firing = need_w > self.low_w

    def decide(self, *, now_s: float, air_c: Floats, set_point_c: Floats, power: Bools) -> None:
        """Take the decision of this step: which heaters fire."""
        gained = power & ~self.powered
        free = power & (now_s >= self.locked_until_s)
        start = free & ~self.firing & (air_c < set_point_c - self.hysteresis_k)
        stop = free & self.firing & (air_c > set_point_c + self.hysteresis_k)
        if gained.any():
            self.begin_start_run(gained & (self.start_run_s > 0), now_s)
            # What was locked by the last minimum off time is free again: the engine starts from cold.
            start = (start | (gained & (air_c < set_point_c - self.hysteresis_k))) & ~self.firing
        self.firing = (self.firing | start) & ~stop & power
        self.locked_until_s = np.where(start, now_s + self.on_s, self.locked_until_s)
        self.locked_until_s = np.where(stop, now_s + self.off_s, self.locked_until_s)
        self.powered = power

    def begin_start_run(self, who: Bools, now_s: float) -> None:
        """Run the engines of the given units for their start-up run."""
        self.firing = self.firing | who
        self.locked_until_s = np.where(who, now_s + self.start_run_s, self.locked_until_s)

    def deliver(self, *, power: Bools) -> Floats:
        """Return the mean heat given to the air during this step [W] and move the coolant on."""
        command = np.where(self.firing, self.high_w, self.low_w) * power
        gap = self.heat_w - command
        self.heat_w = command + gap * self.keep
        return command + gap * self.mean

    def running(self, *, power: Bools) -> Bools:
        """Return where an engine turns during this step."""
        return power & (self.firing | self.always_runs)

    def chill(self, columns: Ints) -> None:
        """Take the heat out of the coolant of the given units (they stood for long)."""
        self.heat_w[columns] = 0.0
