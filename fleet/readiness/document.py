"""An answer as the document that is stored and sent: plain dictionaries, no serializer on the hot path."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fleet.clock import text_of
from fleet.models.readiness import Assessment, Phase
from fleet.readiness.assess import Answer
from fleet.readiness.findings import Finding, Remedy

CAUTION = (
    "This answer advises; it does not certify. A person inspects the unit. Local codes, the carrier's rules, the "
    "maker's manual and licensed technicians stand above it. Never bypass a safety device."
)
NOT_CHECKED = (
    "vehicle, coupling, brakes, tyres and lights",
    "the driver and the route",
    "whether the load was packed and loaded as recorded",
    "parts of the unit that no inspection item and no sensor covers",
)


def finding_document(finding: Finding) -> dict[str, Any]:
    return {
        "check": finding.check,
        "outcome": str(finding.outcome),
        "message": finding.message,
        "measured": finding.measured,
        "required": finding.required,
        "unit": finding.unit,
        "margin": finding.margin,
        "due_at": text_of(finding.due_at) if finding.due_at else None,
        "source": finding.source,
        "subjects": list(finding.subjects),
        "remedy": _remedy_document(finding.remedy),
    }


def _remedy_document(remedy: Remedy | None) -> dict[str, Any] | None:
    if remedy is None:
        return None
    return {
        "action": remedy.action,
        "text": remedy.text,
        "amount": remedy.amount,
        "unit": remedy.unit,
        "then": str(remedy.then) if remedy.then else None,
    }


def stored_document(answer: Answer) -> dict[str, Any]:
    """What `Assessment.document` keeps: everything that was found, but not holds and releases, which move alone."""
    return {
        "score_se": answer.score_se,
        "cause_keys": [key for finding in answer.causes for key in finding.cause_keys()],
        "findings": [finding_document(finding) for finding in answer.findings],
        **answer.extras,
    }


def full_document(
    *,
    trip: str,
    unit: str,
    phase: Phase | str,
    verdict: str,
    score: float | None,
    computed_at: datetime,
    valid_until: datetime,
    versions: str,
    document: Mapping[str, Any],
    holds: list[dict[str, Any]],
    released: bool,
) -> dict[str, Any]:
    """The assessment as contract and schema describe it."""
    return {
        "trip": trip,
        "unit": unit,
        "phase": str(phase),
        "verdict": str(verdict),
        "released": released,
        "score": score,
        "score_se": document.get("score_se"),
        "score_causes": document.get("score_causes"),
        "computed_at": text_of(computed_at),
        "valid_until": text_of(valid_until),
        "versions": versions,
        "findings": document["findings"],
        "forecast": document.get("forecast"),
        "holds": holds,
        "caution": CAUTION,
        "not_checked": list(NOT_CHECKED),
    }


def history_document(row: Assessment) -> dict[str, Any]:
    """A stored answer as the history shows it; its trip and unit are loaded. Holds stand where they move: elsewhere."""
    document = full_document(
        trip=row.trip.reference,
        unit=row.unit.number,
        phase=row.phase,
        verdict=row.verdict,
        score=row.score,
        computed_at=row.computed_at,
        valid_until=row.valid_until,
        versions=row.versions,
        document=row.document,
        holds=[],
        released=False,
    )
    return document | {"id": row.pk, "trigger": row.trigger, "confirmed_at": row.confirmed_at}
