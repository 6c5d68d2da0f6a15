"""fleet.load_temperature: is the load itself within its limits? A heater holds; it neither thaws nor cools a load."""

from __future__ import annotations

from datetime import datetime, timedelta

from fleet.durations import HOUR, hours
from fleet.models.readiness import Phase
from fleet.readiness.facts import Facts, Known
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words, at_departure

ID = "fleet.load_temperature"
SOURCE = "load limits; policy: load_margin_k"
MEASURED_FACT = "inspections.load_temperature_c"


def measured_load(facts: Facts, now: datetime) -> Known | None:
    """Newest measured load temperature that belongs to this trip: taken at loading or by the cargo sensor since."""
    candidates = [facts.unit.facts.get(MEASURED_FACT), facts.unit.values.get("cargo_c")]
    too_old = now - _counts_for(facts)
    fresh = [known for known in candidates if known is not None and known.at > too_old]
    if fresh and facts.trip.phase is Phase.PLANNED:
        begins_at = facts.trip.loading_at - HOUR
        fresh = [known for known in fresh if known.at >= begins_at]
    return max(fresh, key=lambda known: known.at) if fresh else None


def _counts_for(facts: Facts) -> timedelta:
    return hours(facts.policy.load_measured_h)


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    if not facts.trip.needs_heat:
        return _finding(Outcome.PASS, "Not needed: the load needs no heat.")
    low_c, high_c, damage_c = facts.trip.low_c, facts.trip.high_c, facts.trip.damage_c
    if low_c is None or high_c is None or damage_c is None:
        return _finding(Outcome.UNKNOWN, "The load's limits are not stated.")
    known = measured_load(facts, now)
    if known is None:
        return _finding(
            Outcome.UNKNOWN,
            "The load's temperature has not been measured at loading.",
            Remedy("measure_load", "Measure the load at three places while loading and record it."),
        )
    temp_c, until = float(known.value), known.at + _counts_for(facts)
    floor_c = max(low_c, damage_c)
    if not floor_c <= temp_c <= high_c:
        text = (
            f"The load measures {temp_c:g} °C, outside {floor_c:g} to {high_c:g} °C. "
            "A heater holds a load; it neither thaws nor cools it."
        )
        refuse = Remedy("refuse_load", "Do not take the load before its owner has brought it into its range.")
        return _finding(Outcome.BLOCK, text, refuse, temp_c, floor_c if temp_c < floor_c else high_c, until)
    nearest_c = min((floor_c, high_c), key=lambda limit: abs(temp_c - limit))
    outcome = Outcome.CONCERN if abs(temp_c - nearest_c) < facts.policy.load_margin_k else Outcome.PASS
    text = f"The load measures {temp_c:g} °C (limits {floor_c:g} to {high_c:g} °C)."
    return _finding(outcome, text, None, temp_c, nearest_c, until)


def _finding(
    outcome: Outcome,
    message: str,
    remedy: Remedy | None = None,
    measured: float | None = None,
    required: float | None = None,
    changes_at: datetime | None = None,
) -> Finding:
    margin = round(abs(measured - required), 2) if measured is not None and required is not None else None
    unit = "degC" if measured is not None else ""
    return Finding(
        ID, outcome, message, SOURCE, measured, required, unit, margin, remedy=remedy,
        releasable=outcome is not Outcome.BLOCK, changes_at=changes_at,
    )  # fmt: skip


CHECK = Check(
    id=ID,
    words=Words(
        asks="Is the load within its limits?",
        blocks="a measured load temperature outside the load's limits",
        concern="within `load_margin_k` of a limit",
        unknown="not measured at loading, or limits not stated",
    ),
    judge=judge,
    due=at_departure,
)
