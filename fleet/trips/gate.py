"""The gates: a unit is assigned, and a trip departs, only when readiness says it may or a release covers why not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.bell import ASSESS_TASK, ring
from fleet.errors import StaleRevision, WarmgateError
from fleet.models import Assessment, Fleet, Member, Trip, Unit
from fleet.models.readiness import Verdict
from fleet.readiness.assess import assess
from fleet.readiness.history import append
from fleet.readiness.hold_service import apply_answer, end_holds, end_holds_of_other_units
from fleet.readiness.registry import required_ids
from fleet.readiness.selectors import facts_of, unit_with_state
from fleet.readiness.service import TripHasNoUnit, fresh_document
from fleet.readiness.standing import find_standing
from fleet.records.audit import record_act
from fleet.retry import on_conflict
from fleet.trips.due import pull_near
from fleet.trips.selectors import locked_trip_of, trip_of, unit_of
from fleet.trips.service import touch_units
from fleet.trips.states import require_step
from fleet.units.state import lock_states

PASSING = (Verdict.READY, Verdict.CONDITIONAL)


class DispatchBlocked(WarmgateError):
    """Readiness says no; `findings` and `holds` say why, `assessment` is the whole answer."""

    code = "dispatch-blocked"


@dataclass(frozen=True, slots=True)
class Passage:
    """What a gate decided: the answer it decided on, and whether it let the trip pass."""

    trip: Trip
    document: dict[str, Any]
    passed: bool


def assign_unit(
    fleet: Fleet, reference: str, number: str, *, revision: int | None, by: Member, now: datetime
) -> Passage:
    """Assigns a unit, or refuses. The answer is stored either way. *Raises* DispatchBlocked after storing it."""
    return _let_through(on_conflict(lambda: _assign(fleet, reference, number, revision, by, now)))


def depart(fleet: Fleet, reference: str, *, revision: int | None, by: Member, now: datetime) -> Passage:
    """Lets the trip leave, or refuses. What is due at departure is due now. *Raises* DispatchBlocked."""
    return _let_through(on_conflict(lambda: _depart(fleet, reference, revision, by, now)))


def _let_through(passage: Passage) -> Passage:
    if not passage.passed:
        document = passage.document
        required = required_ids()
        stopping = [
            f
            for f in document["findings"]
            if f["outcome"] == "block" or (f["outcome"] == "unknown" and f["check"] in required)
        ]
        raise DispatchBlocked(
            f"{document['unit']} may not leave on {document['trip']}: {'; '.join(f['message'] for f in stopping[:3])}",
            verdict=document["verdict"],
            findings=stopping,
            holds=document["holds"],
            assessment=document,
        )
    return passage


def _assign(fleet: Fleet, reference: str, number: str, revision: int | None, by: Member, now: datetime) -> Passage:
    with transaction.atomic():
        unit = unit_of(fleet.pk, number)
        trip = _locked(fleet.pk, reference, unit.pk, revision)
        require_step(trip, "assign")
        document, passed = _ask(trip, unit, leaving=False, now=now)
        pull_near([trip.pk], at=now)
        ring(ASSESS_TASK)
        if passed:
            before = trip.assigned_unit_id
            trip.assigned_unit = unit
            trip.version += 1
            trip.revision += 1
            trip.save(update_fields=["assigned_unit", "version", "revision"])
            end_holds_of_other_units(trip, unit.pk, now=now)
            touch_units([before, trip.planned_unit_id, unit.pk], now=now)
        act = "trip.assigned" if passed else "trip.assignment_refused"
        record_act(by, act=act, subject=trip, at=now, content={"unit": number, "verdict": document["verdict"]})
        return Passage(trip, document, passed)


def _depart(fleet: Fleet, reference: str, revision: int | None, by: Member, now: datetime) -> Passage:
    with transaction.atomic():
        found = trip_of(fleet.pk, reference)
        require_step(found, "depart")
        if found.assigned_unit_id is None:
            raise TripHasNoUnit("No unit is assigned to the trip.")
        trip = _locked(fleet.pk, reference, found.assigned_unit_id, revision)
        require_step(trip, "depart")
        if trip.assigned_unit_id != found.assigned_unit_id:
            raise StaleRevision("The assigned unit has changed.", current=f'"{trip.revision}"')
        unit = unit_with_state(found.assigned_unit_id)
        document, passed = _ask(trip, unit, leaving=True, now=now)
        if passed:
            trip.state, trip.departed_at = Trip.State.UNDER_WAY, now
            trip.version += 1
            trip.revision += 1
            trip.assess_due_at = now
            trip.save()
            end_holds(trip, reason="departed", now=now, by=by)
            touch_units([unit.pk], now=now)
        else:
            pull_near([trip.pk], at=now)
        ring(ASSESS_TASK)
        act = "trip.departed" if passed else "trip.departure_refused"
        content = {"unit": unit.number, "verdict": document["verdict"], "released": document["released"]}
        record_act(by, act=act, subject=trip, at=now, content=content)
        return Passage(trip, document, passed)


def _locked(fleet_id: int, reference: str, unit_id: int, revision: int | None) -> Trip:
    """The trip under lock; before it the states of all units concerned, in ascending order."""
    found = trip_of(fleet_id, reference)
    lock_states({pk for pk in (unit_id, found.planned_unit_id, found.assigned_unit_id) if pk is not None})
    trip = locked_trip_of(fleet_id, reference)
    if revision is not None and trip.revision != revision:
        raise StaleRevision(current=f'"{trip.revision}"')
    return trip


def _ask(trip: Trip, unit: Unit, *, leaving: bool, now: datetime) -> tuple[dict[str, Any], bool]:
    """A fresh answer made under the locks, stored in the history as the gate's, and whether it lets through."""
    unit = unit_with_state(unit.pk)
    answer = assess([facts_of(trip, unit)], now=now, leaving=leaving)[0]
    append(answer, None, trigger=Assessment.Trigger.GATE)
    if trip.unit_id == unit.pk:
        apply_answer(trip, answer, now=now)
    standing = find_standing(trip.fleet_id, trip.reference, number=unit.number)
    assert standing is not None
    document = fresh_document(answer, standing)
    return document, answer.verdict in PASSING or document["released"]
