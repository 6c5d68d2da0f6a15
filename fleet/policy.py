"""A fleet's thresholds: one table of names, defaults, limits and reasons.

A fleet stores only what it changes (`PolicyRow.overrides`); everything else follows this table. To add a threshold,
add a row here: the API, its schema and docs/policy.md follow.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any


@dataclass(frozen=True, slots=True)
class Threshold:
    """One named number of the policy."""

    name: str
    default: float
    low: float
    high: float
    words: str
    source: str = "assumption"


COMMON = "common practice, no source"
THRESHOLDS: tuple[Threshold, ...] = (
    Threshold("look_ahead_h", 24, 1, 168, "Hours before departure in which a blocked trip opens a hold."),
    Threshold(
        "preheat_h",
        3,
        0,
        24,
        "Hours before loading by which the unit must be on and its set point confirmed.",
    ),
    Threshold("pre_trip_valid_h", 24, 1, 240, "Hours for which a signed pre-trip inspection counts.", COMMON),
    Threshold("pre_trip_warn_h", 4, 0, 48, "Hours before that expiry at which it becomes a concern."),
    Threshold("turn_round_h", 2, 0, 48, "Hours a unit needs between two trips."),
    Threshold("telemetry_soft_on_min", 30, 1, 1440, "Age of readings, engine on, from which they are a concern."),
    Threshold(
        "telemetry_soft_off_h",
        12,
        0.5,
        168,
        "Age of readings, parked and off, from which they are a concern.",
    ),
    Threshold("telemetry_hard_on_h", 4, 0.25, 168, "Age of readings, engine on, from which the unit is unknown."),
    Threshold("telemetry_hard_off_h", 36, 1, 336, "Age of readings, parked and off, from which the unit is unknown."),
    Threshold(
        "set_point_tolerance_k",
        0.3,
        0.05,
        2,
        "Difference between reported and wanted set point that is noise.",
    ),
    Threshold("set_point_guard_k", 0.5, 0, 5, "Guard above lower limit plus hysteresis for the set point."),
    Threshold("unit_off_concern_min", 15, 1, 240, "Minutes off after a signed inspection that are a concern."),
    Threshold("unit_off_block_min", 45, 5, 720, "Minutes off, doors shut, heat needed, that block."),
    Threshold("load_margin_k", 1, 0, 5, "Distance of the load's temperature from a limit that is a concern."),
    Threshold("load_measured_h", 12, 1, 48, "Hours for which a measured load temperature counts."),
    Threshold("service_grace_h", 50, 0, 1000, "Engine hours past due that the policy still allows."),
    Threshold("service_grace_days", 14, 0, 120, "Days past due that the policy still allows."),
    Threshold(
        "heat_reserve_factor",
        1.35,
        1,
        3,
        "Available over needed heat in the worst hour below which capacity is a concern.",
        "from memory of the ATP text for heating appliances; to be checked against it",
    ),
    Threshold("fuel_reserve_l", 15, 0, 200, "Fuel reserve: at least these litres."),
    Threshold("fuel_reserve_share", 0.25, 0, 2, "Fuel reserve: at least this share of the need."),
    Threshold("fuel_reserve_h", 12, 0, 72, "Fuel reserve: at least these hours at the worst hour's burn."),
    Threshold("fuel_measured_h", 48, 1, 336, "Hours for which a fuel reading of a parked unit counts."),
    Threshold("preheat_tolerance_k", 1, 0.1, 5, "Box air this close to the set point counts as warm."),
    Threshold("forecast_age_h", 12, 1, 72, "Age of the ambient forecast that is a concern."),
    Threshold("forecast_colder_k", 4, 1, 20, "Yard colder than the forecast by this much is a concern."),
    Threshold("coolant_margin_k", 5, 0, 20, "Coolant freezing point this close to the coldest hour is a concern."),
    Threshold("battery_rest_h", 2, 0.5, 24, "Hours at rest before a battery voltage says anything.", COMMON),
    Threshold("battery_crank_share", 0.4, 0.1, 1, "Share of cranking power below which the engine may not start."),
    Threshold("measured_valid_days", 400, 1, 1500, "Days for which a coolant measurement counts."),
    Threshold("help_median_h", 4, 0.5, 72, "Hours until heat is back after a failure, median."),
    Threshold("help_p90_h", 8.5, 0.5, 168, "The same, exceeded in one case of ten."),
    Threshold("score_floor", 90, 0, 100, "Score below which the trip is blocked."),
    Threshold("score_ready", 98, 0, 100, "Score below which the trip is a concern."),
    Threshold("alarm_quiet_min", 30, 1, 720, "Minutes of quiet data that close a returned watch or attend alarm."),
    Threshold("hold_lift_min", 10, 1, 240, "Minutes between two unblocked assessments that lift a hold."),
    Threshold("hold_reopen_h", 2, 0, 24, "Hours in which a lifted hold that blocks again is the same hold."),
    Threshold("release_after_depart_h", 1, 0, 24, "Hours after planned departure for which a release lasts."),
    Threshold("under_way_silent_h", 2, 0.25, 48, "Hours of silence under way that raise an alarm."),
    Threshold("immediate_per_hour", 10, 1, 200, "Immediate messages an hour to one person before a summary."),
)
BY_NAME: Mapping[str, Threshold] = {row.name: row for row in THRESHOLDS}
ORDERED_PAIRS = (
    ("telemetry_soft_off_h", "telemetry_hard_off_h"),
    ("unit_off_concern_min", "unit_off_block_min"),
    ("score_floor", "score_ready"),
    ("help_median_h", "help_p90_h"),
)


class Policy:
    """The thresholds in force for one fleet, read as attributes: `policy.fuel_reserve_l`."""

    def __init__(self, overrides: Mapping[str, float] | None = None, *, version: int = 1) -> None:
        self._values = {row.name: row.default for row in THRESHOLDS} | dict(overrides or {})
        self.__dict__ |= {name: float(value) for name, value in self._values.items()}
        self.version = version

    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> float: ...

    def as_dict(self) -> dict[str, float]:
        return dict(self._values)


def faults_in(values: Mapping[str, Any]) -> dict[str, str]:
    """What is wrong with a full set of thresholds: name to reason. Empty when it can be stored."""
    faults: dict[str, str] = {}
    for name, value in values.items():
        row = BY_NAME.get(name)
        if row is None:
            faults[name] = "There is no threshold of this name."
        elif not row.low <= value <= row.high:
            faults[name] = f"Must be from {row.low:g} to {row.high:g}."
    complete = {row.name: row.default for row in THRESHOLDS} | {k: v for k, v in values.items() if k in BY_NAME}
    for lower, upper in ORDERED_PAIRS:
        if complete[lower] > complete[upper]:
            faults.setdefault(lower, f"Must not be above {upper} ({complete[upper]:g}).")
    return faults
