"""What could be measured: true values at the moments the units report, as columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.simulator.network import AIR, EDGE
from fleet.simulator.quantities import Bools, Floats, Ints
from fleet.simulator.tracks import ROAD_SPEED_KM_H
from fleet.simulator.yard import Yard

MEASURED = (
    "return_air_c",
    "discharge_air_c",
    "set_point_c",
    "ambient_c",
    "cargo_c",
    "coolant_c",
    "fuel_l",
    "battery_v",
    "engine_hours_h",
    "speed_km_h",
    "latitude",
    "longitude",
)
FLAGS = ("heater_running", "unit_on", "door_open")
FAN_RISE_K = 17.0  # air through the coil at full output, assumption
COOLANT_RISE_K = 72.0  # coolant above the box air at full output, assumption
CHARGING_V, RESTING_V, WEAK_V = 13.9, 12.6, 11.8  # per 12 V; common practice, no source


@dataclass(frozen=True, slots=True)
class Samples:
    """N moments of report: unit position, time [s] and true values.

    `measured` has shape (12, N) in the order of `MEASURED` with NaN where there is nothing to measure,
    `flags` (3, N) in the order of `FLAGS`.
    """

    unit: Ints
    at_s: Ints
    measured: Floats
    flags: Bools


class Recorder:
    """Collects samples of a yard: each unit at its own minute of the cadence, an idle one hourly.

    Whenever a unit is switched or its doors are opened or shut it reports at once, beside its turn.
    """

    def __init__(self, yard: Yard, *, cadence_min: int, rng: np.random.Generator) -> None:
        n = len(yard.roster)
        self.yard, self.cadence_min = yard, cadence_min
        self.phase_min = rng.integers(0, 60, n)
        self.weak = rng.random(n) < 0.03
        self.full_w = yard.thermostat.high_w.copy()  # what the fan's flow and the coolant's rise belong to
        self.last_flags = np.zeros((2, n), dtype=np.bool_)
        self.parts: list[Samples] = []

    def take(self) -> None:
        """Record the units that report at this minute."""
        yard, minute = self.yard, self.yard.now_s // 60
        awake = yard.unit_on | (yard.load.mass_kg > 0)
        turn = minute + self.phase_min
        flags = np.array([yard.unit_on, yard.door_open])
        changed = (flags != self.last_flags).any(axis=0)
        self.last_flags = flags
        due = np.flatnonzero((awake & (turn % self.cadence_min == 0)) | (turn % 60 == 0) | changed)
        if len(due):
            self.parts.append(self.sample(due))

    def sample(self, due: Ints) -> Samples:
        """Return the true values of the given units now."""
        yard, roster = self.yard, self.yard.roster
        air, heat_share = yard.temps[AIR, due], yard.heat_w[due] / self.full_w[due]
        running = yard.running[due]
        volts = np.where(self.weak[due], WEAK_V, RESTING_V)
        measured = np.array(
            [
                air,
                air + FAN_RISE_K * heat_share,
                yard.set_point_c[due],
                yard.ambient_c[due],
                np.where(yard.load.mass_kg[due] > 0, yard.temps[EDGE, due], np.nan),
                air + COOLANT_RISE_K * heat_share,
                yard.supply.fuel_l[due],
                np.where(running, CHARGING_V, volts) * roster.nominal_v[due] / 12.0,
                roster.engine_h[due] + yard.supply.engine_h[due],
                np.where(yard.moving[due], ROAD_SPEED_KM_H, 0.0),
                yard.tracks.at[0, due],
                yard.tracks.at[1, due],
            ]
        )
        flags = np.array([yard.shows_running()[due], yard.unit_on[due], yard.door_open[due]])
        return Samples(unit=due, at_s=np.full(len(due), yard.now_s), measured=measured, flags=flags)

    def empty(self) -> Samples:
        """Return everything recorded since the last call, in order of time."""
        parts, self.parts = self.parts, []
        if not parts:
            none = np.empty(0, dtype=np.int64)
            return Samples(none, none, np.empty((len(MEASURED), 0)), np.empty((len(FLAGS), 0), dtype=np.bool_))
        return Samples(
            unit=np.concatenate([part.unit for part in parts]),
            at_s=np.concatenate([part.at_s for part in parts]),
            measured=np.concatenate([part.measured for part in parts], axis=1),
            flags=np.concatenate([part.flags for part in parts], axis=1),
        )
