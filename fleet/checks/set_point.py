"""fleet.set_point: is the set point the one the load needs, and did the unit really take it?"""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

from fleet.readiness.facts import Facts, Known
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words, at_preheat

ID = "fleet.set_point"
SOURCE = "load limits; policy: set_point_tolerance_k, set_point_guard_k"
SCALE_SLACK = 0.65
"""A number this near the wanted one on the other scale reads like it: 7 °C is 44.6 °F, typed as 44 or 45 (choice)."""
DEFAULT_HYSTERESIS_K = 1.0
"""Half-width of a thermostat's band when the unit model states none (common practice, no source)."""


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    if not facts.trip.needs_heat:
        return _finding(Outcome.PASS, "Not needed: the load needs no heat.")
    low_c, high_c, wanted_c = facts.trip.low_c, facts.trip.high_c, facts.trip.set_point_c
    if low_c is None or high_c is None or wanted_c is None:
        return _finding(Outcome.UNKNOWN, "The load's limits or its set point are not stated.")
    reported = facts.unit.values.get("set_point_c")
    if reported is None:
        return _finding(Outcome.UNKNOWN, f"{facts.unit.number} has not reported its set point.", required=wanted_c)
    return _compare(facts, reported, wanted_c, low_c, high_c)


def _compare(facts: Facts, reported: Known, wanted_c: float, low_c: float, high_c: float) -> Finding:
    actual_c = float(reported.value)
    guard_c = _guard_c(facts, low_c)

    def set_it() -> Remedy:
        text = f"Set {wanted_c:g} °C at the unit and wait until it reports it."
        then = _once_set(wanted_c, low_c=low_c, high_c=high_c, guard_c=guard_c)
        return Remedy("set_point", text, wanted_c, "degC", then)

    numbers: dict[str, Any] = {"measured": actual_c, "required": wanted_c}
    if not low_c <= actual_c <= high_c:
        text = (
            f"Set point {actual_c:g} °C is outside the load's {low_c:g} to {high_c:g} °C.{_scale(actual_c, wanted_c)}"
        )
        return _finding(Outcome.BLOCK, text, remedy=set_it(), **numbers)
    tolerance_k = facts.policy.set_point_tolerance_k
    if abs(actual_c - wanted_c) > tolerance_k:
        text = f"Set point {actual_c:g} °C differs from the trip's {wanted_c:g} °C.{_scale(actual_c, wanted_c)}"
        return _finding(Outcome.CONCERN, text, remedy=set_it(), **numbers)
    changed_at = facts.trip.set_point_changed_at
    if changed_at is not None and reported.at < changed_at:
        text = f"The trip's set point changed at {changed_at:%H:%M} UTC; the unit has not confirmed it since."
        return _finding(Outcome.CONCERN, text, remedy=set_it(), **numbers)
    if actual_c <= guard_c:
        text = (
            f"Set point {actual_c:g} °C is so near the load's {low_c:g} °C that the heater's own swing "
            f"of {_hysteresis_k(facts):g} K reaches it."
        )
        enough_c = math.floor(guard_c * 10 + 1) / 10
        then = _once_set(enough_c, low_c=low_c, high_c=high_c, guard_c=guard_c)
        warmer = Remedy("set_point", f"Plan a set point above {guard_c:g} °C.", enough_c, "degC", then)
        return _finding(Outcome.CONCERN, text, remedy=warmer, measured=actual_c, required=guard_c)
    return _finding(Outcome.PASS, f"Set point {actual_c:g} °C, confirmed at {reported.at:%H:%M} UTC.", **numbers)


def _hysteresis_k(facts: Facts) -> float:
    return facts.unit.design.get("hysteresis_k") or DEFAULT_HYSTERESIS_K


def _guard_c(facts: Facts, low_c: float) -> float:
    """At or below this the heater's own swing reaches the load's lower limit [degC]."""
    return low_c + _hysteresis_k(facts) + facts.policy.set_point_guard_k


def _once_set(set_c: float, *, low_c: float, high_c: float, guard_c: float) -> Outcome:
    """What the check says once the unit reports this set point and the trip asks for it."""
    if not low_c <= set_c <= high_c:
        return Outcome.BLOCK
    return Outcome.CONCERN if set_c <= guard_c else Outcome.PASS


def _scale(actual_c: float, wanted_c: float) -> str:
    """A hint when the number reads like the wanted one on the other temperature scale."""
    if abs(actual_c - (wanted_c * 9 / 5 + 32)) <= SCALE_SLACK:
        return f" {wanted_c:g} °C is {actual_c:.0f} °F: were the scales mixed up?"
    if abs(actual_c - (wanted_c - 32) * 5 / 9) <= SCALE_SLACK:
        return f" {actual_c:.1f} °C is {wanted_c:g} °F: were the scales mixed up?"
    return ""


def _finding(
    outcome: Outcome,
    message: str,
    *,
    measured: float | None = None,
    required: float | None = None,
    remedy: Remedy | None = None,
) -> Finding:
    margin = round(measured - required, 2) if measured is not None and required is not None else None
    unit = "degC" if required is not None else ""
    return Finding(ID, outcome, message, SOURCE, measured, required, unit, margin, remedy=remedy)


CHECK = Check(
    id=ID,
    words=Words(
        asks="Is the set point the one the load needs, and did the unit take it?",
        blocks="the reported set point is outside the load's limits",
        concern="it differs from the trip's, was not reported since it was last changed, sits within the heater's "
        "swing plus `set_point_guard_k` of the lower limit, or reads like the other temperature scale",
        unknown="no set point reported, or the load's limits are not stated",
    ),
    judge=judge,
    due=at_preheat,
)
