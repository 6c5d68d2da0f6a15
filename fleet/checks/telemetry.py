"""fleet.telemetry: is what we know of the unit fresh and believable?"""

from __future__ import annotations

from datetime import datetime, timedelta

from fleet.durations import MINUTE, hours, minutes
from fleet.policy import Policy
from fleet.readiness.facts import Facts, UnitFacts
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words, at_loading
from fleet.units.flat_sensors import FACT as FLAT_SENSORS

ID = "fleet.telemetry"
SOURCE = "policy: telemetry_soft_*, telemetry_hard_*"
RAILS_C = (-89.5, 119.5)
"""A temperature this far out is a sensor at the end of its range (choice; the API refuses values beyond)."""
TEMPERATURES = ("return_air_c", "discharge_air_c", "ambient_c", "cargo_c")


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    newest_at = facts.unit.newest_at
    if newest_at is None:
        return _finding(Outcome.UNKNOWN, f"{facts.unit.number} has never sent a reading.")
    values = facts.unit.values
    railed = [name for name in TEMPERATURES if (known := values.get(name)) is not None and _railed(known.value)]
    if railed:
        return _finding(
            Outcome.UNKNOWN, f"Sensor at the end of its range: {', '.join(railed)}. Its value says nothing."
        )
    flat = facts.unit.facts.get(FLAT_SENSORS)
    if flat is not None and flat.value:
        return _finding(
            Outcome.UNKNOWN, f"Sensor that has shown one value for hours: {', '.join(flat.value)}. It says nothing."
        )
    soft, hard, words = age_limits(facts.unit, facts.policy)
    age = now - newest_at
    measured = round(age / MINUTE, 1)
    if age >= hard:
        text = f"Last reading {_words(age)} ago ({words}); the unit's condition is not known."
        return _finding(Outcome.UNKNOWN, text, measured=measured, required=hard / MINUTE)
    if age >= soft:
        return _finding(
            Outcome.CONCERN,
            f"Last reading {_words(age)} ago ({words}).",
            measured=measured,
            required=soft / MINUTE,
            changes_at=newest_at + hard,
        )
    return _finding(
        Outcome.PASS,
        f"Last reading {_words(age)} ago.",
        measured=measured,
        required=soft / MINUTE,
        changes_at=newest_at + soft,
    )


def age_limits(unit: UnitFacts, policy: Policy) -> tuple[timedelta, timedelta, str]:
    """From which age readings are a concern, from which they say nothing of now, and why: the unit is on or off."""
    unit_on = unit.values.get("unit_on")
    if unit_on is not None and unit_on.value:
        soft, hard = minutes(policy.telemetry_soft_on_min), policy.telemetry_hard_on_h
        return soft, max(soft, hours(hard)), "unit on"
    soft, hard = hours(policy.telemetry_soft_off_h), policy.telemetry_hard_off_h
    return soft, hours(hard), "unit off"


def _railed(temp_c: float) -> bool:
    return not RAILS_C[0] < temp_c < RAILS_C[1]


def _words(age: timedelta) -> str:
    age_min = max(age / MINUTE, 0.0)
    return f"{age_min:.0f} min" if age_min < 120 else f"{age_min / 60:.1f} h"


def _finding(outcome: Outcome, message: str, **more: object) -> Finding:
    remedy = None
    if outcome is not Outcome.PASS:
        remedy = Remedy(
            action="restore_readings",
            text="Check the unit's power and its gateway; read set point, box temperature and fuel at the unit.",
        )
    unit = "min" if more.get("measured") is not None else ""
    return Finding(ID, outcome, message, SOURCE, unit=unit, remedy=remedy, **more)  # type: ignore[arg-type]


CHECK = Check(
    id=ID,
    words=Words(
        asks="Is what we know of the unit fresh and believable?",
        concern="newest reading older than `telemetry_soft_on_min` (unit on) or `telemetry_soft_off_h` (unit off)",
        unknown="no reading, one older than `telemetry_hard_on_h` / `telemetry_hard_off_h`, a sensor at the end of "
        "its range, or one that has shown a single value for hours while the heater cycled",
    ),
    judge=judge,
    due=at_loading,
)
