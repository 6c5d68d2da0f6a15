"""fleet.unit_on: is the unit switched on (and not left off after somebody worked on it)?"""

from __future__ import annotations

from datetime import datetime, timedelta

from fleet.durations import MINUTE, minutes
from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words, at_preheat

ID = "fleet.unit_on"
SOURCE = "policy: unit_off_concern_min, unit_off_block_min"
INSPECTION_FACT = "inspections.pre_trip"
INSPECTING_FACT = "inspections.in_progress"
LONGEST_INSPECTION = timedelta(hours=2)
"""An inspection begun longer ago no longer explains a unit that is off (choice)."""


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    if not facts.trip.needs_heat:
        return _finding(Outcome.PASS, "Not needed: the load needs no heat.")
    unit_on = facts.unit.values.get("unit_on")
    if unit_on is None:
        return _finding(Outcome.UNKNOWN, f"{facts.unit.number} has not reported whether it is on.")
    if unit_on.value:
        return _while_on(facts)
    return _while_off(facts, off_since=facts_off_since(facts), now=now)


def facts_off_since(facts: Facts) -> datetime:
    """Since when the unit is off: the moment it last reported on; one that never did, its first report."""
    begun = facts.unit.facts.get("fleet.last_on") or facts.unit.facts.get("fleet.first_off")
    off = facts.unit.values["unit_on"].at
    return min(off, begun.at) if begun is not None else off


def _while_on(facts: Facts) -> Finding:
    door, running = facts.unit.values.get("door_open"), facts.unit.values.get("heater_running")
    if door is not None and door.value and running is not None and running.value:
        return _finding(
            Outcome.CONCERN,
            "The doors are open while the heater runs: most of its heat leaves through them.",
            Remedy("close_doors", "Close the doors, or switch the unit off while loading with open doors."),
        )
    return _finding(Outcome.PASS, "The unit is on.")


def _while_off(facts: Facts, *, off_since: datetime, now: datetime) -> Finding:
    if facts.trip.phase == "planned" and now < at_preheat(facts):
        due_at = at_preheat(facts)
        return Finding(
            ID, Outcome.PENDING, f"The unit is off; it is due on by {due_at:%H:%M} UTC.", SOURCE, due_at=due_at,
            changes_at=due_at,
        )  # fmt: skip
    switch_on = Remedy("switch_on", "Switch the unit on and let it warm the box.", then=Outcome.PASS)
    off_for = now - off_since
    block_after = minutes(facts.policy.unit_off_block_min)
    concern_after = minutes(facts.policy.unit_off_concern_min)
    door = facts.unit.values.get("door_open")
    if door is not None and door.value:
        return _finding(Outcome.PASS, "The unit is off with its doors open, as it should be.")
    inspecting = facts.unit.facts.get(INSPECTING_FACT)
    if inspecting is not None and inspecting.value and now - inspecting.at < LONGEST_INSPECTION:
        return Finding(
            ID, Outcome.PASS, "The unit is off while it is being inspected.", SOURCE,
            changes_at=inspecting.at + LONGEST_INSPECTION,
        )  # fmt: skip
    off_min = off_for / MINUTE
    if off_for >= block_after:
        text = f"The unit has been off for {off_min:.0f} min with its doors shut, and the load needs heat."
        return _finding(Outcome.BLOCK, text, switch_on, measured=off_min, required=facts.policy.unit_off_block_min)
    signed = facts.unit.facts.get(INSPECTION_FACT)
    if signed is not None and now - signed.at >= concern_after and signed.at >= off_since - concern_after:
        text = f"The unit is still off {off_min:.0f} min after an inspection was signed: left off?"
        return _finding(
            Outcome.CONCERN, text, switch_on, measured=off_min, required=facts.policy.unit_off_concern_min,
            changes_at=off_since + block_after,
        )  # fmt: skip
    return _finding(
        Outcome.CONCERN, "The unit is off and is due on.", switch_on, measured=off_min,
        required=facts.policy.unit_off_block_min, changes_at=off_since + block_after,
    )  # fmt: skip


def _finding(
    outcome: Outcome,
    message: str,
    remedy: Remedy | None = None,
    *,
    measured: float | None = None,
    required: float | None = None,
    changes_at: datetime | None = None,
) -> Finding:
    return Finding(
        check=ID,
        outcome=outcome,
        message=message,
        source=SOURCE,
        measured=None if measured is None else round(measured, 1),
        required=required,
        unit="" if measured is None else "min",
        remedy=remedy,
        changes_at=changes_at,
    )


CHECK = Check(
    id=ID,
    words=Words(
        asks="Is the unit switched on?",
        blocks="doors shut, off longer than `unit_off_block_min`, heat needed, and nobody is inspecting it",
        concern="off after an inspection was signed (left off?), off although due on, or heating with open doors",
        unknown="the unit has not reported whether it is on",
    ),
    judge=judge,
    due=at_preheat,
)
