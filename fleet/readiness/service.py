"""Answers readiness and keeps the answers: for a read, for a gate, and for the worker's batches."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction

from fleet.clock import db_now
from fleet.errors import Conflict, NotFound, WarmgateError
from fleet.metrics import ASSESSMENTS, CHECK_FAILURES
from fleet.models import Assessment, Trip
from fleet.readiness.assess import Answer, assess
from fleet.readiness.document import full_document, stored_document
from fleet.readiness.hold_service import apply_answer, tell_assessed
from fleet.readiness.selectors import facts_of, own_unit, trips_with_units, unit_with_state
from fleet.readiness.standing import (
    Standing,
    answer_document,
    find_standing,
    holds_document,
    is_released,
)
from fleet.retry import on_conflict
from fleet.trips.due import lock_trip
from fleet.units.state import lock_states

logger = logging.getLogger(__name__)

LEASE = timedelta(seconds=60)
"""For so long a claimed trip is left alone by other workers."""
BATCH = 200
LIVE = (Trip.State.PLANNED, Trip.State.UNDER_WAY)


class TripHasNoUnit(WarmgateError):
    """Readiness was asked for a trip that names no unit."""

    code = "no-unit"


def readiness(fleet_id: int, reference: str, *, number: str | None = None) -> dict[str, Any]:
    """The assessment of a trip with its unit or a named one: stored if it still holds, computed if not.

    Statements: one when the stored answer holds; otherwise that one, the trip, the unit, what gathers ask, and the
    insert. A trip that has ended keeps its last answer. *Raises* NotFound, TripHasNoUnit, Conflict.
    """
    standing = find_standing(fleet_id, reference, number=number)
    if standing is None:
        raise NotFound("There is no such trip.")
    if standing.unit_id is None:
        if number is not None:
            raise NotFound("There is no such unit.")
        raise TripHasNoUnit("The trip has no unit yet. Name one with ?unit= or rank candidates.")
    if standing.current:
        return answer_document(standing)
    trip = trips_with_units([standing.trip_id])[0]
    if trip.state not in LIVE:
        if standing.answer is None:
            raise Conflict(f"The trip is {trip.state} and was never assessed with this unit.")
        return answer_document(standing)
    own = own_unit(trip)
    unit = own if own is not None and own.pk == standing.unit_id else unit_with_state(standing.unit_id)
    answer = assess([facts_of(trip, unit)], now=standing.now)[0]
    append(answer, newest_of(standing), trigger=Assessment.Trigger.READ)
    return fresh_document(answer, standing)


@dataclass(frozen=True, slots=True)
class Newest:
    """What decides whether a new answer says something new."""

    id: int
    verdict: str
    score: float | None
    outcomes: tuple[tuple[str, str], ...]


def newest_of(standing: Standing) -> Newest | None:
    stored = standing.answer
    if stored is None:
        return None
    return Newest(stored.id, stored.verdict, stored.score, _outcomes(stored.document))


def _outcomes(document: Any) -> tuple[tuple[str, str], ...]:
    return tuple((finding["check"], finding["outcome"]) for finding in document["findings"])


def append(answer: Answer, newest: Newest | None, *, trigger: str) -> None:
    """Appends the answer to the history when it says something new (or a gate asked); else confirms the newest."""
    document = stored_document(answer)
    same = (
        newest is not None
        and trigger != Assessment.Trigger.GATE
        and newest.verdict == answer.verdict
        and newest.outcomes == _outcomes(document)
        and _whole(newest.score) == _whole(answer.score)
    )
    ASSESSMENTS.labels(verdict=str(answer.verdict)).inc()
    for check in answer.broken:
        CHECK_FAILURES.labels(check=check).inc()
    if same and newest is not None:
        Assessment.objects.for_fleet(answer.facts.fleet_id).filter(pk=newest.id).update(
            confirmed_at=answer.computed_at,
            valid_until=answer.valid_until,
            versions=answer.facts.versions,
            document=document,
        )
        return
    Assessment.objects.create(
        fleet_id=answer.facts.fleet_id,
        trip_id=answer.facts.trip.id,
        unit_id=answer.facts.unit.id,
        phase=answer.facts.trip.phase,
        trigger=trigger,
        verdict=answer.verdict,
        score=answer.score,
        versions=answer.facts.versions,
        computed_at=answer.computed_at,
        confirmed_at=answer.computed_at,
        valid_until=answer.valid_until,
        document=document,
    )


def _whole(score: float | None) -> int | None:
    return None if score is None else round(score)


def fresh_document(answer: Answer, standing: Standing) -> dict[str, Any]:
    """An answer that was just made, with the holds of its standing."""
    document = stored_document(answer)
    return full_document(
        trip=answer.facts.trip.reference,
        unit=answer.facts.unit.number,
        phase=answer.facts.trip.phase,
        verdict=answer.verdict,
        score=answer.score,
        computed_at=answer.computed_at,
        valid_until=answer.valid_until,
        versions=answer.facts.versions,
        document=document,
        holds=holds_document(standing.holds),
        released=is_released(standing, document),
    )


# --- the worker ---------------------------------------------------------------------------------------------------


def assess_due(*, limit: int = BATCH) -> int:
    """Assesses trips that are due, in one batch, and returns how many. Safe to run anywhere, any number of times."""
    now = db_now()
    claimed = on_conflict(lambda: _claim(now, limit))
    if claimed:
        assess_trips(claimed, now=now)
    return len(claimed)


def _claim(now: datetime, limit: int) -> list[int]:
    with transaction.atomic():
        due = (
            Trip.objects.across_fleets().filter(assess_due_at__lte=now, state__in=LIVE).order_by("assess_due_at", "pk")
        )
        if connection.features.has_select_for_update_skip_locked:
            due = due.select_for_update(skip_locked=True, of=("self",))
        ids = list(due.values_list("pk", flat=True)[:limit])
        Trip.objects.across_fleets().filter(pk__in=ids).update(assess_due_at=now + LEASE)
    return ids


def assess_trips(trip_ids: Sequence[int], *, now: datetime) -> list[Answer]:
    """Assesses these trips with their own units and carries out what follows: history, holds, next due time."""
    trips = trips_with_units(trip_ids)
    with_unit = [(trip, unit) for trip in trips if (unit := own_unit(trip)) is not None]
    answers = assess([facts_of(trip, unit) for trip, unit in with_unit], now=now)
    idle = [trip.pk for trip in trips if own_unit(trip) is None]
    if idle:
        Trip.objects.across_fleets().filter(pk__in=idle, assess_due_at__lte=now + LEASE).update(assess_due_at=None)
    for answer in answers:
        on_conflict(lambda answer=answer: _store(answer, now=now))  # type: ignore[misc]
    return answers


def _store(answer: Answer, *, now: datetime) -> None:
    """Transaction 2: unit before trip, then history, hold, listeners and the next due time."""
    unit_id = answer.facts.unit.id
    with transaction.atomic():
        lock_states([unit_id])
        trip = lock_trip(answer.facts.trip.id)
        if trip.state not in LIVE or trip.unit_id != unit_id:
            return
        append(answer, _newest_row(answer), trigger=Assessment.Trigger.WORKER)
        again_at = answer.valid_until
        if trip.state == Trip.State.PLANNED:
            decision = apply_answer(trip, answer, now=now)
            again_at = min(again_at, decision.again_at) if decision.again_at else again_at
        tell_assessed(trip, answer, now=now)
        _set_due(trip, answer, again_at, now)


def _newest_row(answer: Answer) -> Newest | None:
    row = (
        Assessment.objects.for_fleet(answer.facts.fleet_id)
        .filter(trip_id=answer.facts.trip.id, unit_id=answer.facts.unit.id)
        .order_by("-id")
        .first()
    )
    return None if row is None else Newest(row.pk, row.verdict, row.score, _outcomes(row.document))


def _set_due(trip: Trip, answer: Answer, again_at: datetime, now: datetime) -> None:
    """Moves the due time out, but only if nothing this answer was made from has moved since; otherwise it is due.

    The unit's state and the trip are locked, so nobody moves them between this look and the commit.
    """
    stored = find_standing(trip.fleet_id, trip.reference)
    current = stored is not None and stored.versions == answer.facts.versions
    if answer.broken:
        again_at = now + timedelta(minutes=min(2**trip.assess_failures, 60))
    Trip.objects.for_fleet(trip.fleet_id).filter(pk=trip.pk).update(
        assess_due_at=again_at if current or answer.broken else now,
        assess_failures=min(trip.assess_failures + 1, 6) if answer.broken else 0,
    )
