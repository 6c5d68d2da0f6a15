"""What the sensors make of it: noise, steps of the converter, drift, sensors stuck or never fitted."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fleet.simulator.quantities import Bools, Floats
from fleet.simulator.samples import MEASURED, Samples

# Per field: sd of the noise, step of the converter, sd of the fixed offset, share of units that have it.
CHARACTER: dict[str, tuple[float, float, float, float]] = {
    "return_air_c": (0.3, 0.1, 0.3, 1.0),
    "discharge_air_c": (0.5, 0.1, 0.3, 0.8),
    "set_point_c": (0.0, 0.1, 0.0, 1.0),
    "ambient_c": (0.3, 0.1, 0.5, 0.95),
    "cargo_c": (0.1, 0.1, 0.2, 0.5),
    "coolant_c": (0.5, 1.0, 1.0, 0.8),
    "fuel_l": (1.0, 0.5, 1.5, 0.97),
    "battery_v": (0.03, 0.05, 0.03, 1.0),
    "engine_hours_h": (0.0, 0.05, 0.0, 1.0),
    "speed_km_h": (2.0, 1.0, 0.0, 0.7),
    "latitude": (0.0001, 0.00001, 0.0, 0.6),  # about 10 m
    "longitude": (0.0001, 0.00001, 0.0, 0.6),
}
CAN_FAIL = ("return_air_c", "discharge_air_c", "ambient_c", "cargo_c", "fuel_l")
NEVER_NEGATIVE = ("fuel_l", "speed_km_h", "battery_v")
DRIFTING_SHARE = 0.05  # of sensors that can fail
DRIFT_PER_DAY = 0.3  # sd, in the field's unit
STUCK_PER_UNIT_DAY = 0.02
STUCK_MEDIAN_H, STUCK_SD_LN = 6.0, 0.8
DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Stuck:
    """One sensor that shows the same value for a while; seconds from the start."""

    unit: int
    field: str
    start_s: float
    end_s: float


@dataclass(slots=True)
class Sensors:
    """The sensors of n units; columns in the order of `MEASURED`, arrays of shape (fields, n)."""

    noise: Floats
    step: Floats
    offset: Floats
    drift_per_day: Floats
    fitted: Bools
    stuck: list[Stuck]
    held: dict[Stuck, float] = field(default_factory=dict)

    def read(self, samples: Samples, *, rng: np.random.Generator) -> Floats:
        """Return what the sensors show, shape (fields, N); NaN without a sensor or anything to measure."""
        unit, days = samples.unit, samples.at_s / DAY_S
        shown = samples.measured + self.offset[:, unit] + self.drift_per_day[:, unit] * days
        shown += self.noise[:, None] * rng.standard_normal(shown.shape)
        # Standing still is exact, and so is a set point.
        speed = MEASURED.index("speed_km_h")
        shown[speed] = np.where(samples.measured[speed] == 0.0, 0.0, shown[speed])
        for name in NEVER_NEGATIVE:
            row = MEASURED.index(name)
            shown[row] = np.maximum(shown[row], 0.0)
        shown = np.round(np.round(shown / self.step[:, None]) * self.step[:, None], 5)
        shown[~self.fitted[:, unit]] = np.nan
        for spell in self.stuck:
            self.hold(spell, samples, shown)
        return shown

    def hold(self, spell: Stuck, samples: Samples, shown: Floats) -> None:
        """Let one stuck sensor show its first value again and again."""
        inside = (samples.at_s >= spell.start_s) & (samples.at_s < spell.end_s)
        rows = np.flatnonzero(inside & (samples.unit == spell.unit))
        if len(rows):
            values = shown[MEASURED.index(spell.field)]
            values[rows] = self.held.setdefault(spell, float(values[rows[0]]))

    def records(self, numbers: tuple[str, ...]) -> list[dict[str, Any]]:
        """Return the truth about sensors: which drift, which are stuck and when."""
        stuck = [
            {
                "kind": "sensor_stuck",
                "unit": numbers[spell.unit],
                "at_s": round(spell.start_s),
                "until_s": round(spell.end_s),
                "field": spell.field,
            }
            for spell in self.stuck
        ]
        drifting = [
            {
                "kind": "sensor_drift",
                "unit": numbers[unit],
                "at_s": 0,
                "field": MEASURED[row],
                "per_day": round(float(self.drift_per_day[row, unit]), 3),
            }
            for row, unit in zip(*np.nonzero(self.drift_per_day), strict=True)
        ]
        return drifting + stuck


def draw_sensors(*, units: int, horizon_s: float, rng: np.random.Generator) -> Sensors:
    """Return the sensors of a fleet with what will go wrong with them until the horizon."""
    noise, step, spread, share = (np.array(column) for column in zip(*CHARACTER.values(), strict=True))
    shape = (len(MEASURED), units)
    can_fail = np.isin(np.array(MEASURED), CAN_FAIL)[:, None]
    drifts = can_fail & (rng.random(shape) < DRIFTING_SHARE)
    fitted = rng.random(shape) < share[:, None]
    fitted[MEASURED.index("longitude")] = fitted[MEASURED.index("latitude")]
    count = rng.poisson(STUCK_PER_UNIT_DAY * units * horizon_s / DAY_S)
    return Sensors(
        noise=noise,
        step=step,
        offset=spread[:, None] * rng.standard_normal(shape),
        drift_per_day=np.where(drifts, DRIFT_PER_DAY * rng.standard_normal(shape), 0.0),
        fitted=fitted,
        stuck=[draw_stuck(units, horizon_s, rng) for _ in range(count)],
    )


def draw_stuck(units: int, horizon_s: float, rng: np.random.Generator) -> Stuck:
    """Return one spell of a stuck sensor."""
    start = float(rng.uniform(0.0, horizon_s))
    lasts_h = STUCK_MEDIAN_H * np.exp(STUCK_SD_LN * rng.standard_normal())
    name = CAN_FAIL[rng.integers(len(CAN_FAIL))]
    return Stuck(int(rng.integers(units)), name, start, start + float(lasts_h) * 3600.0)
