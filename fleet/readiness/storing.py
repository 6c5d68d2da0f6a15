"""What follows from answers of a batch: history, holds, listeners, next due times; a constant number of statements and
what really changes."""

from __future__ import annotations

import logging
from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from typing import Any

import orjson
from django.db import connection, transaction

from fleet.models import Assessment, Trip
from fleet.readiness.assess import Answer
from fleet.readiness.facts import version_vector
from fleet.readiness.history import append_all, newest_answers
from fleet.readiness.hold_service import carry_out, hold_step, holds_of, tell_assessed
from fleet.retry import on_conflict
from fleet.trips.due import LIVE, lock_trips
from fleet.units.state import lock_states

logger = logging.getLogger(__name__)

AT_ONCE = 50
"""So many trips share a transaction: its locks keep ingest waiting, so it must stay short."""


def store_answers(answers: Sequence[Answer], *, now: datetime) -> None:
    """Stores answers in groups. A group that fails is stored trip by trip, so that a trip costs only itself; what
    cannot be stored even then stays leased and is found again."""
    for start in range(0, len(answers), AT_ONCE):
        group = answers[start : start + AT_ONCE]
        try:
            on_conflict(lambda group=group: _store(group, now=now))  # type: ignore[misc]
        except Exception:
            if connection.in_atomic_block:
                raise
            logger.exception("%s answers could not be stored together", len(group))
            _one_by_one(group, now=now)


def _one_by_one(answers: Sequence[Answer], *, now: datetime) -> None:
    for answer in answers:
        try:
            on_conflict(lambda answer=answer: _store([answer], now=now))  # type: ignore[misc]
        except Exception:
            logger.exception("The answer for trip %s could not be stored", answer.facts.trip.reference)


def _store(answers: Sequence[Answer], *, now: datetime) -> None:
    """Transaction 2: units before trips, then history, holds, listeners and the next due times."""
    with transaction.atomic():
        lock_states(answer.facts.unit.id for answer in answers)
        trips = lock_trips([answer.facts.trip.id for answer in answers])
        stored = [
            (trip, answer)
            for answer in answers
            if (trip := trips.get(answer.facts.trip.id)) is not None
            and trip.state in LIVE
            and trip.unit_id == answer.facts.unit.id
        ]
        if not stored:
            return
        newest = newest_answers([trip.pk for trip, _ in stored])
        append_all(
            [(answer, newest.get((trip.pk, answer.facts.unit.id))) for trip, answer in stored],
            trigger=Assessment.Trigger.WORKER,
        )
        again_at = _move_holds(stored, now=now)
        kept = [(trip, answer) for trip, answer in stored if trip.pk in again_at]
        tell_assessed(kept, now=now)
        _set_due(kept, again_at, now)


def _move_holds(stored: Sequence[tuple[Trip, Answer]], *, now: datetime) -> dict[int, datetime]:
    """Moves the holds of planned trips and says when each trip has to be looked at again, by id.

    A trip whose hold cannot be moved is left out: it keeps its lease and is tried again.
    """
    holds = holds_of([trip.pk for trip, _ in stored])
    again_at: dict[int, datetime] = {}
    for trip, answer in stored:
        again_at[trip.pk] = answer.valid_until
        if trip.state != Trip.State.PLANNED:
            continue
        step = hold_step(trip, answer, [hold for hold in holds if hold.trip_id == trip.pk], now=now)
        if step.decision.again_at:
            again_at[trip.pk] = min(answer.valid_until, step.decision.again_at)
        if not step.writes:
            continue
        try:
            with transaction.atomic():
                carry_out(step, now=now)
        except Exception:
            logger.exception("The hold of trip %s could not be moved", trip.reference)
            del again_at[trip.pk]
    return again_at


def _set_due(stored: Sequence[tuple[Trip, Answer]], again_at: dict[int, datetime], now: datetime) -> None:
    """Moves due times out, but only where nothing an answer was made from has moved since; otherwise it is due.

    The units' states and the trips are locked, so nobody moves them between this look and the commit.
    """
    versions = current_versions([trip.pk for trip, _ in stored])
    adapt = connection.ops.adapt_datetimefield_value
    rows: list[dict[str, Any]] = []
    for trip, answer in stored:
        due_at, failures = again_at[trip.pk], 0
        if answer.broken:
            due_at = now + timedelta(minutes=min(2**trip.assess_failures, 60))
            failures = min(trip.assess_failures + 1, 6)
        elif versions.get(trip.pk) != answer.facts.versions:
            due_at = now
        rows.append({"id": trip.pk, "due_at": str(adapt(due_at)), "failures": failures})
    if rows:
        with connection.cursor() as cursor:
            cursor.execute(_DUE[connection.vendor], [orjson.dumps(rows).decode()])


def current_versions(trip_ids: Collection[int]) -> dict[int, str]:
    """The version vectors of these trips with their own units as they are stored now, in one statement."""
    if not trip_ids:
        return {}
    marks = ", ".join(["%s"] * len(trip_ids))
    with connection.cursor() as cursor:
        cursor.execute(_VERSIONS.format(marks=marks), list(trip_ids))
        rows = cursor.fetchall()
    return {
        pk: version_vector(trip=trip, unit=unit, model=model, policy=policy, forecast=forecast)
        for pk, trip, unit, model, policy, forecast in rows
    }


_VERSIONS = """
SELECT t.id, t.version, s.version, m.version, p.version, t.ambient_version
  FROM fleet_trip t
  JOIN fleet_policyrow p ON p.fleet_id = t.fleet_id
  JOIN fleet_unit u ON u.id = COALESCE(t.assigned_unit_id, t.planned_unit_id)
  JOIN fleet_unitmodel m ON m.id = u.model_id
  JOIN fleet_unitstate s ON s.unit_id = u.id
 WHERE t.id IN ({marks})"""
_DUE = {
    "postgresql": """
        UPDATE fleet_trip AS t SET assess_due_at = n.due_at, assess_failures = n.failures
          FROM jsonb_to_recordset(%s::jsonb) AS n(id bigint, due_at timestamptz, failures int)
         WHERE t.id = n.id""",
    "sqlite": """
        UPDATE fleet_trip AS t SET assess_due_at = n.due_at, assess_failures = n.failures
          FROM (SELECT json_extract(value, '$.id') AS id, json_extract(value, '$.due_at') AS due_at,
                       json_extract(value, '$.failures') AS failures FROM json_each(%s)) AS n
         WHERE t.id = n.id""",
}
