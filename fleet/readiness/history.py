"""The history of answers: a new row when an answer says something new, else the newest row is confirmed."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import orjson
from django.db import connection
from django.db.models import Max

from fleet.metrics import ASSESSMENTS, CHECK_FAILURES
from fleet.models import Assessment
from fleet.readiness.assess import Answer
from fleet.readiness.document import stored_document
from fleet.readiness.standing import Standing


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


def newest_answers(trip_ids: Collection[int]) -> dict[tuple[int, int], Newest]:
    """The newest answer of these trips with each unit, by (trip id, unit id), in one statement."""
    rows = Assessment.objects.across_fleets().filter(trip_id__in=trip_ids)
    newest = rows.values("trip_id", "unit_id").annotate(newest=Max("id")).values("newest")
    return {
        (row.trip_id, row.unit_id): Newest(row.pk, row.verdict, row.score, _outcomes(row.document))
        for row in Assessment.objects.across_fleets().filter(pk__in=newest)
    }


def _outcomes(document: Any) -> tuple[tuple[str, str], ...]:
    return tuple((finding["check"], finding["outcome"]) for finding in document["findings"])


def append(answer: Answer, newest: Newest | None, *, trigger: str) -> None:
    """Appends the answer to the history when it says something new (or a gate asked); else confirms the newest."""
    append_all([(answer, newest)], trigger=trigger)


def append_all(answers: Sequence[tuple[Answer, Newest | None]], *, trigger: str) -> None:
    """The same for many answers, each with the newest stored one of its trip and unit; at most two statements."""
    new: list[Assessment] = []
    confirmed: list[dict[str, Any]] = []
    for answer, newest in answers:
        document = stored_document(answer)
        if newest is not None and trigger != Assessment.Trigger.GATE and _says_the_same(answer, newest, document):
            confirmed.append(_confirmation(newest.id, answer, document))
        else:
            new.append(_row(answer, document, trigger))
        ASSESSMENTS.labels(verdict=str(answer.verdict)).inc()
        for check in answer.broken:
            CHECK_FAILURES.labels(check=check).inc()
    if new:
        Assessment.objects.bulk_create(new)
    if confirmed:
        with connection.cursor() as cursor:
            cursor.execute(_CONFIRM[connection.vendor], [orjson.dumps(confirmed).decode()])


def _says_the_same(answer: Answer, newest: Newest, document: Any) -> bool:
    return (
        newest.verdict == answer.verdict
        and newest.outcomes == _outcomes(document)
        and _whole(newest.score) == _whole(answer.score)
    )


def _whole(score: float | None) -> int | None:
    return None if score is None else round(score)


def _row(answer: Answer, document: dict[str, Any], trigger: str) -> Assessment:
    return Assessment(
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


def _confirmation(pk: int, answer: Answer, document: dict[str, Any]) -> dict[str, Any]:
    adapt = connection.ops.adapt_datetimefield_value
    return {
        "id": pk,
        "confirmed_at": str(adapt(answer.computed_at)),
        "valid_until": str(adapt(answer.valid_until)),
        "versions": answer.facts.versions,
        "document": document,
    }


_SET = """
        UPDATE fleet_assessment AS a
           SET confirmed_at = n.confirmed_at, valid_until = n.valid_until, versions = n.versions, document = n.document
          FROM {rows}
         WHERE a.id = n.id"""
_CONFIRM = {
    "postgresql": _SET.format(
        rows="""jsonb_to_recordset(%s::jsonb) AS n(id bigint, confirmed_at timestamptz, valid_until timestamptz,
                                                   versions text, document jsonb)"""
    ),
    "sqlite": _SET.format(
        rows="""(SELECT json_extract(value, '$.id') AS id, json_extract(value, '$.confirmed_at') AS confirmed_at,
                        json_extract(value, '$.valid_until') AS valid_until,
                        json_extract(value, '$.versions') AS versions, json_extract(value, '$.document') AS document
                   FROM json_each(%s)) AS n"""
    ),
}
