"""The stored answer of one trip and unit with everything that says whether it still holds, in one statement."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db import connection
from django.utils import timezone

from fleet.clock import text_of
from fleet.models import Hold
from fleet.readiness.document import full_document
from fleet.readiness.facts import version_vector


@dataclass(frozen=True, slots=True)
class StoredAnswer:
    """The newest assessment of a trip and unit."""

    id: int
    phase: str
    verdict: str
    score: float | None
    versions: str
    computed_at: datetime
    valid_until: datetime
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Standing:
    """A trip with one unit, by id; the versions of what is stored now; the newest answer; and every hold."""

    now: datetime
    trip_id: int
    reference: str
    trip_revision: int
    unit_id: int | None
    number: str | None
    assigned: bool
    """Whether the trip's own unit is assigned; else it is planned, or there is none."""
    versions: str
    answer: StoredAnswer | None
    holds: tuple[Mapping[str, Any], ...]

    @property
    def current(self) -> bool:
        """Whether the answer was made from what is stored now and time has not made it stale."""
        answer = self.answer
        return answer is not None and answer.versions == self.versions and self.now < answer.valid_until


def find_standing(fleet_id: int, reference: str, *, number: str | None = None) -> Standing | None:
    """The standing of a trip with the unit of that number, or with its own. None when there is no such trip."""
    by_number = number is not None
    sql = _SQL[connection.vendor].format(unit=_BY_NUMBER if by_number else _OWN)
    with connection.cursor() as cursor:
        cursor.execute(sql, [*([number] if by_number else []), fleet_id, reference])
        row = cursor.fetchone()
    return None if row is None else _standing(row)


def _standing(row: tuple[Any, ...]) -> Standing:
    now, trip_id, reference, revision, unit_id, number, holds, *rest = row
    assigned, trip_version, ambient_version, unit_version, model_version, policy_version, *answer = rest
    versions = ""
    if unit_id is not None:
        versions = version_vector(
            trip=trip_version,
            unit=unit_version,
            model=model_version,
            policy=policy_version,
            forecast=ambient_version,
        )
    return Standing(
        now=timezone.now() if now is None else now,
        trip_id=trip_id,
        reference=reference,
        trip_revision=revision,
        unit_id=unit_id,
        number=number,
        assigned=bool(assigned),
        versions=versions,
        answer=None if answer[0] is None else _answer(answer),
        holds=tuple(_json(holds) or ()),
    )


def _answer(columns: list[Any]) -> StoredAnswer:
    pk, phase, verdict, score, versions, computed_at, valid_until, document = columns
    return StoredAnswer(
        pk, phase, verdict, score, versions, _moment(computed_at), _moment(valid_until), _json(document)
    )


def _json(value: Any) -> Any:
    return json.loads(value) if isinstance(value, str) else value


def _moment(value: Any) -> datetime:
    at = datetime.fromisoformat(value) if isinstance(value, str) else value
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)


def holds_document(holds: tuple[Mapping[str, Any], ...]) -> list[dict[str, Any]]:
    """Open and released holds as an answer shows them."""
    return [
        {
            "id": hold["id"],
            "state": hold["state"],
            "opened_at": text_of(_moment(hold["opened_at"])),
            "release_until": text_of(_moment(hold["release_until"])) if hold["release_until"] else None,
            "causes": [cause["key"] for cause in hold["causes"]],
        }
        for hold in holds
        if hold["state"] in (Hold.State.OPEN, Hold.State.RELEASED)
    ]


def is_released(standing: Standing, document: Mapping[str, Any]) -> bool:
    """Whether live releases cover every cause that blocks this answer."""
    covered = {
        cause["key"]
        for hold in standing.holds
        if hold["state"] == Hold.State.RELEASED
        and hold["release_until"]
        and _moment(hold["release_until"]) > standing.now
        for cause in hold["causes"]
    }
    return _covers(covered, document.get("cause_keys", ()))


def is_covered(cause_keys: Iterable[str], holds: Iterable[Hold], *, now: datetime) -> bool:
    """The same for rows of holds of one trip and unit."""
    covered = {
        cause["key"]
        for hold in holds
        if hold.state == Hold.State.RELEASED and hold.release_until is not None and hold.release_until > now
        for cause in hold.causes
    }
    return _covers(covered, cause_keys)


def _covers(covered: set[str], cause_keys: Iterable[str]) -> bool:
    causes = set(cause_keys)
    return bool(causes) and causes <= covered


def answer_document(standing: Standing) -> dict[str, Any]:
    """The stored answer as it is sent. The standing must have one."""
    stored = standing.answer
    assert stored is not None
    return full_document(
        trip=standing.reference,
        unit=standing.number or "",
        phase=stored.phase,
        verdict=stored.verdict,
        score=stored.score,
        computed_at=stored.computed_at,
        valid_until=stored.valid_until,
        versions=stored.versions,
        document=stored.document,
        holds=holds_document(standing.holds),
        released=is_released(standing, stored.document),
    )


_OWN = "u.id = COALESCE(t.assigned_unit_id, t.planned_unit_id)"
_BY_NUMBER = "u.fleet_id = t.fleet_id AND u.number = %s"
_COMMON = """
       t.assigned_unit_id IS NOT NULL, t.version, t.ambient_version, s.version, m.version, p.version,
       a.id, a.phase, a.verdict, a.score, a.versions, a.computed_at, a.valid_until, a.document
  FROM fleet_trip t
  JOIN fleet_policyrow p ON p.fleet_id = t.fleet_id
  LEFT JOIN fleet_unit u ON {unit}
  LEFT JOIN fleet_unitmodel m ON m.id = u.model_id
  LEFT JOIN fleet_unitstate s ON s.unit_id = u.id
  LEFT JOIN fleet_assessment a ON a.id = (
       SELECT n.id FROM fleet_assessment n WHERE n.trip_id = t.id AND n.unit_id = u.id ORDER BY n.id DESC LIMIT 1)
 WHERE t.fleet_id = %s AND t.reference = %s"""
_SQL = {
    "postgresql": """
SELECT clock_timestamp(), t.id, t.reference, t.revision, u.id, u.number,
       (SELECT jsonb_agg(jsonb_build_object('id', h.id, 'state', h.state, 'opened_at', h.opened_at,
                                            'release_until', h.release_until, 'causes', h.causes) ORDER BY h.id)
          FROM fleet_hold h WHERE h.trip_id = t.id AND h.unit_id = u.id),"""
    + _COMMON,
    "sqlite": """
SELECT NULL, t.id, t.reference, t.revision, u.id, u.number,
       (SELECT json_group_array(json_object('id', h.id, 'state', h.state, 'opened_at', h.opened_at,
                                            'release_until', h.release_until, 'causes', json(h.causes)))
          FROM (SELECT * FROM fleet_hold WHERE trip_id = t.id AND unit_id = u.id ORDER BY id) h),"""
    + _COMMON,
}
