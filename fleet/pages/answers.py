"""A stored answer as a page reads it: findings in the order they matter, and why in one sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fleet.models.readiness import Verdict
from fleet.readiness.registry import required_ids

WORST_FIRST = ("block", "unknown", "concern", "pending", "pass")
OPENING = {
    Verdict.READY: "May leave",
    Verdict.CONDITIONAL: "May leave on conditions",
    Verdict.BLOCKED: "May not leave",
    Verdict.UNKNOWN: "May not leave: not everything that must be known is known",
}
OPENING_UNDER_WAY = {
    Verdict.READY: "On its way, and everything is in order",
    Verdict.CONDITIONAL: "On its way, with something to watch",
    Verdict.BLOCKED: "On its way, and in trouble",
    Verdict.UNKNOWN: "On its way, and not everything that must be known is known",
}

Finding = Mapping[str, Any]


def in_order(findings: Sequence[Finding]) -> list[Finding]:
    """What stops first, then what is not known, then conditions; of equals those that say how much mends it."""

    def order(finding: Finding) -> tuple[int, bool, bool]:
        remedy = finding["remedy"]
        measured = remedy is not None and remedy["amount"] is not None
        return WORST_FIRST.index(finding["outcome"]), not is_stopping(finding), not measured

    return sorted(findings, key=order)


def is_stopping(finding: Finding) -> bool:
    """Whether this finding alone keeps the trip from leaving."""
    return finding["outcome"] == "block" or (finding["outcome"] == "unknown" and finding["check"] in required_ids())


def first_reason(findings: Sequence[Finding]) -> Finding | None:
    """The finding to show first; None when everything passes."""
    ordered = in_order(findings)
    return ordered[0] if ordered and ordered[0]["outcome"] != "pass" else None


@dataclass(frozen=True, slots=True)
class Grouped:
    """Findings by what they mean for the departure."""

    stopping: list[Finding]
    conditions: list[Finding]
    passing: list[Finding]


def grouped(findings: Sequence[Finding]) -> Grouped:
    ordered = in_order(findings)
    return Grouped(
        stopping=[finding for finding in ordered if is_stopping(finding)],
        conditions=[finding for finding in ordered if not is_stopping(finding) and finding["outcome"] != "pass"],
        passing=[finding for finding in ordered if finding["outcome"] == "pass"],
    )


def why(document: Mapping[str, Any]) -> str:
    """The answer in one sentence: what it is, and what decides it."""
    verdict = Verdict(document["verdict"])
    opening = (OPENING_UNDER_WAY if document["phase"] == "under_way" else OPENING)[verdict]
    if document["released"]:
        opening = "May leave, because a manager has released it"
    reason = first_reason(document["findings"])
    if reason is None:
        return f"{opening}: every check passes."
    rest = sum(finding["outcome"] == reason["outcome"] for finding in document["findings"]) - 1
    more = f" And {rest} more of this kind." if rest else ""
    return f"{opening}. {reason['message']}{more}"


CHECK_TITLES = {
    "alarms.stop_tier": "Faults that stop a departure",
    "alarms.watch_tier": "Faults to watch",
    "fleet.availability": "Unit free for this trip",
    "fleet.load_temperature": "Temperature of the load",
    "fleet.service_due": "Service",
    "fleet.set_point": "Set point",
    "fleet.telemetry": "Readings",
    "fleet.unit_on": "Unit switched on",
    "inspections.pre_trip": "Pre-trip inspection",
    "thermal.battery": "Battery in the cold",
    "thermal.capacity": "Heat for the coldest hour",
    "thermal.chance": "Chance of arriving undamaged",
    "thermal.coolant": "Coolant in the cold",
    "thermal.forecast": "Forecast of the outside air",
    "thermal.fuel": "Fuel to the next fill",
    "thermal.fuel_grade": "Fuel in the cold",
    "thermal.preheat": "Box warm at loading",
    "thermal.range": "Agreed range of the load",
    "thermal.time_to_damage": "Time to act if the heat stops",
}


def title_of(check: str) -> str:
    """A check's name for people; one that is not in the list is named by its id."""
    return CHECK_TITLES.get(check) or check.partition(".")[2].replace("_", " ").capitalize()
