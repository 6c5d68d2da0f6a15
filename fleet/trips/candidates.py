"""Ranks units for a trip: all answers in one pass, best first. Stores nothing."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from fleet.collector import collector_waits
from fleet.errors import FieldError, InvalidInput
from fleet.models import Fleet, Trip
from fleet.models.readiness import Verdict
from fleet.readiness.assess import Answer, assess
from fleet.readiness.document import finding_document, full_document, stored_document
from fleet.readiness.findings import Outcome
from fleet.readiness.selectors import facts_of, facts_with_units, trip_with_units, units_of_fleet
from fleet.trips.service import build_trip

MAX_UNITS = 1000
PASS, CONCERN = Outcome.PASS, Outcome.CONCERN
ORDER = (Verdict.READY, Verdict.CONDITIONAL, Verdict.UNKNOWN, Verdict.BLOCKED)


def outcomes_of(answer: Answer) -> list[Outcome]:
    return [finding.outcome for finding in answer.findings]


def rank_key(answer: Answer) -> tuple[int, int, int, float, str]:
    """Best first: verdict, then fewest concerns among equals of a whole point of score, then score, then number."""
    score = -1.0 if answer.score is None else answer.score
    open_count = len(answer.findings) - outcomes_of(answer).count(PASS)
    return (ORDER.index(answer.verdict), -round(score), open_count, -score, answer.facts.unit.number)


@collector_waits()
def candidates(fleet: Fleet, reference: str, *, numbers: Collection[str] | None, now: datetime) -> list[dict[str, Any]]:
    """Units with verdict, score and what blocks them; `unknown` and `blocked` never above the others.

    *Raises* InvalidInput for unknown unit numbers.
    """
    trip = trip_with_units(fleet.pk, reference)
    units = units_of_fleet(fleet.pk, numbers=numbers)
    if numbers is not None:
        _refuse_unknown(numbers, {unit.number for unit in units})
    if len(units) > MAX_UNITS:
        raise InvalidInput.at("/units", "too-many", f"At most {MAX_UNITS} units are ranked in one call.")
    answers = assess(facts_with_units(trip, units), now=now)
    return [_document(rank, answer) for rank, answer in enumerate(sorted(answers, key=rank_key), start=1)]


def _refuse_unknown(numbers: Collection[str], found: Collection[str]) -> None:
    missing = [
        FieldError(f"/units/{index}", "unknown-unit", f"There is no unit {number!r}.")
        for index, number in enumerate(numbers)
        if number not in found
    ]
    if missing:
        raise InvalidInput(errors=missing)


def _document(rank: int, answer: Answer) -> dict[str, Any]:
    return {
        "rank": rank,
        "unit": answer.facts.unit.number,
        "verdict": str(answer.verdict),
        "score": answer.score,
        "blocking": [finding_document(finding) for finding in answer.causes],
        "concerns": outcomes_of(answer).count(CONCERN),
    }


def preview(fleet: Fleet, plan: dict[str, Any], *, now: datetime) -> dict[str, Any]:
    """The assessment of a trip that is not stored, with its planned unit. *Raises* InvalidInput without one."""
    trip: Trip = build_trip(fleet, plan)
    if trip.planned_unit is None:
        raise InvalidInput.at("/planned_unit", "required", "Name the unit to preview the trip with.")
    trip.fleet = fleet
    answer: Answer = assess([facts_of(trip, trip.planned_unit)], now=now)[0]
    return full_document(
        trip=trip.reference,
        unit=trip.planned_unit.number,
        phase=answer.facts.trip.phase,
        verdict=answer.verdict,
        score=answer.score,
        computed_at=answer.computed_at,
        valid_until=answer.valid_until,
        versions="",
        document=stored_document(answer),
        holds=[],
        released=False,
    )
