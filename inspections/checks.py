"""inspections.pre_trip: has a person looked at the unit, lately enough, and is everything they found put right?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from fleet.durations import HOUR, hours
from fleet.readiness.facts import Facts, instant
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import PLANNED, Check, Words, at_loading

ID = "inspections.pre_trip"
FACT = "inspections.pre_trip"
STOP_FACT = "alarms.last_stop_at"
DELIVERED_FACT = "fleet.last_delivered"
SOURCE = "policy: pre_trip_valid_h, pre_trip_warn_h; rule patterned on 49 CFR 396.11 and 396.13"
INSPECT = Remedy("inspect", "Carry out and sign a pre-trip inspection.")


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    known = facts.unit.facts.get(FACT)
    standing: Mapping[str, Any] = known.value if known is not None else {}
    signed_at = instant(standing["signed_at"]) if standing.get("signed_at") else None
    if blocking := [defect for defect in standing.get("defects", ()) if defect["blocks"]]:
        return _blocked(facts, blocking)
    if not standing.get("performed_at"):
        return _unknown(f"{facts.unit.number} has no signed pre-trip inspection.")
    performed_at = instant(standing["performed_at"])
    if reason := _voided_by(facts, standing, performed_at):
        return _unknown(f"The pre-trip inspection of {performed_at:%Y-%m-%d %H:%M} UTC no longer counts: {reason}.")
    if unseen := standing["unseen"]:
        look = Remedy("recheck", f"Look at {_words(unseen)} and sign a re-check.")
        return _unknown(f"The pre-trip inspection is incomplete: {_words(unseen)} not seen.", look)
    return _by_age(facts, standing, performed_at, signed_at, now)


def _blocked(facts: Facts, defects: Sequence[Mapping[str, Any]]) -> Finding:
    lines = [f"{defect['label']}: {defect['note']} ({_stage(defect)})" for defect in defects]
    waiting = [defect["label"] for defect in defects if not _repaired(defect)]
    text = (
        f"Sign the repair of {_words(waiting)} (or that none is necessary), then check again and sign."
        if waiting
        else f"Check {_words([defect['label'] for defect in defects])} again and sign."
    )
    return Finding(
        ID,
        Outcome.BLOCK,
        f"{facts.unit.number} has unrepaired defects. " + "; ".join(lines) + ".",
        SOURCE,
        remedy=Remedy("repair", text),
        subjects=tuple(f"defect-{defect['id']}" for defect in defects),
        releasable=False,
    )


def _repaired(defect: Mapping[str, Any]) -> bool:
    return bool(defect["state"] == "repaired")


def _stage(defect: Mapping[str, Any]) -> str:
    return "repaired, not checked again" if _repaired(defect) else "not repaired"


def _voided_by(facts: Facts, standing: Mapping[str, Any], performed_at: datetime) -> str | None:
    """What happened to the unit since somebody looked, that makes another look necessary."""
    stop, delivered = facts.unit.facts.get(STOP_FACT), facts.unit.facts.get(DELIVERED_FACT)
    if stop is not None and stop.value:
        stopped_at = instant(stop.value) if isinstance(stop.value, str) else stop.at
        if stopped_at > performed_at:
            return f"a stop-tier alarm came at {stopped_at:%Y-%m-%d %H:%M} UTC"
    if standing.get("work_at") and instant(standing["work_at"]) > performed_at:
        return f"the unit was worked on at {instant(standing['work_at']):%Y-%m-%d %H:%M} UTC"
    if delivered is not None and delivered.value and delivered.at > performed_at:
        return f"the unit has finished a trip at {delivered.at:%Y-%m-%d %H:%M} UTC"
    return None


def _by_age(
    facts: Facts, standing: Mapping[str, Any], performed_at: datetime, signed_at: datetime | None, now: datetime
) -> Finding:
    """A complete inspection that nothing has voided: does it last until the trip leaves?"""
    expires_at = performed_at + hours(facts.policy.pre_trip_valid_h)
    warns_at = expires_at - hours(facts.policy.pre_trip_warn_h)
    leaves_at = max(facts.trip.depart_at, now)
    if expires_at <= leaves_at:
        word = "expired" if expires_at <= now else "expires before departure,"
        return _unknown(f"The pre-trip inspection {word} at {expires_at:%Y-%m-%d %H:%M} UTC.")
    concerns = _concerns(standing)
    if leaves_at >= warns_at:
        concerns.append(f"it expires at {expires_at:%Y-%m-%d %H:%M} UTC, soon after departure")
    changes_at = next((moment for moment in (warns_at, expires_at) if moment > now), None)
    when = f"Pre-trip inspection of {performed_at:%Y-%m-%d %H:%M} UTC"
    outcome = Outcome.CONCERN if concerns else Outcome.PASS
    message = f"{when}: {'; '.join(concerns)}." if concerns else f"{when}: fit, valid until {expires_at:%H:%M} UTC."
    return Finding(
        ID,
        outcome,
        message,
        SOURCE,
        measured=round((leaves_at - performed_at) / HOUR, 2),
        required=facts.policy.pre_trip_valid_h,
        unit="h",
        margin=round((expires_at - leaves_at) / HOUR, 2),
        remedy=_plan(standing) if concerns else None,
        signed_at=signed_at,
        changes_at=changes_at,
    )


def _concerns(standing: Mapping[str, Any]) -> list[str]:
    concerns = [f"wear on {_words(standing['wear'])}"] if standing["wear"] else []
    if defects := standing["defects"]:
        concerns.append(f"open defects that do not block: {_words([defect['label'] for defect in defects])}")
    return concerns


def _plan(standing: Mapping[str, Any]) -> Remedy:
    if standing["defects"] or standing["wear"]:
        return Remedy("plan_work", "Plan the work; inspect again nearer to departure if the inspection runs out.")
    return INSPECT


def _words(labels: Sequence[str]) -> str:
    return ", ".join(label.lower() for label in labels)


def _unknown(message: str, remedy: Remedy = INSPECT) -> Finding:
    return Finding(ID, Outcome.UNKNOWN, message, SOURCE, remedy=remedy)


CHECK = Check(
    id=ID,
    words=Words(
        asks="Has a person inspected the unit for this departure, and is everything found put right?",
        blocks="a blocking defect without a signed repair (or `repair_unnecessary`) and a re-check of the item",
        concern="wear, open defects that do not block, or expiry within `pre_trip_warn_h` of departure",
        unknown="no signed pre-trip inspection within `pre_trip_valid_h` of departure, items not seen, or a stop-tier "
        "alarm, work or a finished trip since",
    ),
    judge=judge,
    due=at_loading,
    phases=PLANNED,
)
CHECKS = (CHECK,)
