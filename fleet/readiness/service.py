"""Answers readiness and keeps the answers: for a read, for a gate, and for the worker's batches."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import DatabaseError, connection, transaction

from fleet.clock import db_now
from fleet.errors import Conflict, NotFound, WarmgateError, is_storage_full
from fleet.models import Assessment, Trip
from fleet.readiness.assess import Answer, assess
from fleet.readiness.document import full_document, stored_document
from fleet.readiness.history import Newest, append, newest_of
from fleet.readiness.selectors import (
    facts_of,
    facts_of_trips,
    own_unit,
    trip_with_own_unit,
    trips_with_units,
    unit_with_state,
)
from fleet.readiness.standing import (
    Standing,
    answer_document,
    find_standing,
    holds_document,
    is_released,
)
from fleet.readiness.storing import store_answers
from fleet.retry import on_conflict
from fleet.trips.due import LIVE

logger = logging.getLogger(__name__)

LEASE = timedelta(seconds=60)
"""For so long a claimed trip is left alone by other workers."""
BATCH = 200


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
    trip = trip_with_own_unit(standing.trip_id, assigned=standing.assigned)
    if trip.state not in LIVE:
        if standing.answer is None:
            raise Conflict(f"The trip is {trip.state} and was never assessed with this unit.")
        return answer_document(standing)
    own = own_unit(trip)
    unit = own if own is not None and own.pk == standing.unit_id else unit_with_state(standing.unit_id)
    answer = assess([facts_of(trip, unit)], now=standing.now)[0]
    _keep(answer, newest_of(standing))
    return fresh_document(answer, standing)


def _keep(answer: Answer, newest: Newest | None) -> None:
    """Keeps what a read was answered. On a full disk it is answered all the same, and computed anew each time."""
    try:
        append(answer, newest, trigger=Assessment.Trigger.READ)
    except DatabaseError as error:
        if not is_storage_full(error):
            raise
        logger.warning("Trip %s: there is no room left to keep the answer", answer.facts.trip.reference)


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
    answers = assess(facts_of_trips(trips), now=now)
    idle = [trip.pk for trip in trips if own_unit(trip) is None]
    if idle:
        Trip.objects.across_fleets().filter(pk__in=idle, assess_due_at__lte=now + LEASE).update(assess_due_at=None)
    store_answers(answers, now=now)
    return answers
