"""What takes the heat away: an empty tank, a breakdown. And what brings it back: a fill, help."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.simulator.quantities import Bools, Floats, Heater, Ints


@dataclass(frozen=True, slots=True)
class Help:
    """How long until heat is back after a failure: lognormal, median [h] and sd of its logarithm, shape (n,).

    An infinite median means that nobody comes.
    """

    median_h: Floats
    sd_ln: Floats

    def draw_s(self, columns: Ints, rng: np.random.Generator) -> Floats:
        """Return one time until heat is back for each of the given worlds [s]."""
        factor = np.exp(self.sd_ln[columns] * rng.standard_normal(len(columns)))
        return self.median_h[columns] * 3600.0 * factor


class Supply:
    """Fuel, engine hours and breakdowns of n units.

    Breakdowns come at a constant rate per engine hour of each world, repeatedly: after help has come the
    clock of the next one starts. A tank that runs dry is a failure too: an engine that has drawn air does
    not start by itself at the next fill (common practice, no source), it waits for help, which brings a
    full tank.
    """

    def __init__(
        self, heater: Heater, *, fuel_l: Floats, rate_per_h: Floats, aid: Help, rng: np.random.Generator
    ) -> None:
        n = len(fuel_l)
        self.high_l_s, self.low_l_s = heater.burn_high_l_h / 3600.0, heater.burn_low_l_h / 3600.0
        self.tank_l = heater.tank_l
        self.fuel_l = fuel_l.copy()
        self.rate_per_h, self.aid, self.rng = rate_per_h, aid, rng
        self.until_next = rng.exponential(size=n)
        self.down_until_s = np.full(n, -np.inf)
        self.dry_until_s = np.full(n, -np.inf)
        self.used_l, self.engine_h = np.zeros(n), np.zeros(n)
        self.breakdowns = np.zeros(n, dtype=np.int64)
        self.dry_at_s = np.full(n, np.inf)
        self.run_dry(np.flatnonzero(self.fuel_l <= 0.0), 0.0)
        self.just_failed: Ints = np.empty(0, dtype=np.int64)
        self.just_dry: Ints = np.empty(0, dtype=np.int64)

    def works(self, now_s: float) -> Bools:
        """Return which heaters can make heat now; help that is due has come, with fuel for a dry tank."""
        helped = (self.fuel_l <= 0.0) & (now_s >= self.dry_until_s)
        if helped.any():
            self.fuel_l[helped] = self.tank_l[helped]
        return (self.fuel_l > 0.0) & (now_s >= self.down_until_s) & (now_s >= self.dry_until_s)

    def run_dry(self, columns: Ints, now_s: float) -> None:
        """Note that the given units have just run out of fuel, and when help will be there."""
        if len(columns):
            self.dry_until_s[columns] = now_s + self.aid.draw_s(columns, self.rng)
            self.dry_at_s[columns] = np.minimum(self.dry_at_s[columns], now_s)

    def refill(self, who: Bools) -> None:
        """Fill the tanks of the given units."""
        self.fuel_l = np.where(who, self.tank_l, self.fuel_l)

    def run(self, *, now_s: float, step_s: float, running: Bools, firing: Bools) -> None:
        """Burn fuel and count engine hours for one step that starts now, then see what failed at its end."""
        burnt = np.where(firing, self.high_l_s, self.low_l_s) * running * step_s
        np.minimum(burnt, self.fuel_l, out=burnt)
        had_fuel = self.fuel_l > 0.0
        self.fuel_l -= burnt
        self.used_l += burnt
        hours = running * (step_s / 3600.0)
        self.engine_h += hours
        self.until_next -= hours * self.rate_per_h
        end_s = now_s + step_s
        self.just_dry = np.flatnonzero(had_fuel & (self.fuel_l <= 0.0))
        self.run_dry(self.just_dry, end_s)
        self.just_failed = np.flatnonzero(self.until_next <= 0.0)
        if len(self.just_failed):
            self.breakdowns[self.just_failed] += 1
            self.down_until_s[self.just_failed] = end_s + self.aid.draw_s(self.just_failed, self.rng)
            self.until_next[self.just_failed] = self.rng.exponential(size=len(self.just_failed))
