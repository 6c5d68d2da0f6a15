"""Units by the numbers that events call them by: their ids, and the lock of a batch."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import orjson
from django.db import connection

MOST_SEEN = 200_000
"""Units whose ids a process remembers; it starts anew with more."""
_seen: dict[int, dict[str, int]] = {}
"""By fleet, then by number."""


def unit_ids(fleet_id: int, numbers: Sequence[str]) -> list[int]:
    """The ids of units of these numbers as this process last saw them; 0 where there is none, as for "".

    What was seen may no longer be so: whoever uses an id names the number beside it in the statement.
    """
    ids: list[Any] = list(map(_seen.get(fleet_id, {}).get, numbers))
    if None not in ids:
        return ids
    missing = {number for number, pk in zip(numbers, ids, strict=True) if pk is None and number}
    if missing:
        with connection.cursor() as cursor:
            cursor.execute(_LOOK_UP[connection.vendor], [_listed(missing), fleet_id])
            _note(fleet_id, dict(cursor.fetchall()))
    seen = _seen.get(fleet_id, {})
    return [seen.get(number, 0) for number in numbers]


def _note(fleet_id: int, ids: Mapping[str, int]) -> None:
    if sum(map(len, _seen.values())) > MOST_SEEN:
        _seen.clear()
    _seen.setdefault(fleet_id, {}).update(ids)


def lock_units(fleet_id: int, numbers: Collection[str], *, source: str) -> tuple[dict[str, int], int | None]:
    """The fleet's units of these numbers, their state rows locked in ascending order; and the id of a source.

    One statement. The id is None where there is no such source, or no such unit.
    """
    if not numbers:
        return {}, None
    with connection.cursor() as cursor:
        cursor.execute(_LOCK[connection.vendor], [fleet_id, source, _listed(numbers), fleet_id])
        rows = cursor.fetchall()
    ids = {number: pk for number, pk, _ in rows}
    _note(fleet_id, ids)
    return ids, rows[0][2] if rows else None


def _listed(numbers: Collection[str]) -> str:
    # Numbers hold no control characters, so one text with line breaks carries them all.
    return "\n".join(numbers) if connection.vendor == "postgresql" else orjson.dumps(list(numbers)).decode()


# The numbers drive the look-up, one probe of the unique index each, whatever the planner knows of the table;
# `= ANY` in a prepared statement may compare all with all, and so does a join that SQLite may put in order by itself.
_NUMBERED = {
    "postgresql": "FROM unnest(string_to_array(%s, E'\\n')) AS n(number)"
    " JOIN fleet_unitstate s ON s.number = n.number AND s.fleet_id = %s",
    "sqlite": "FROM json_each(%s) AS n CROSS JOIN fleet_unitstate s ON s.number = n.value AND s.fleet_id = %s",
}
SOURCE = "(SELECT id FROM fleet_source WHERE fleet_id = %s AND name = %s)"
_LOOK_UP = {vendor: f"SELECT s.number, s.unit_id {numbered}" for vendor, numbered in _NUMBERED.items()}
_LOCK = {
    vendor: f"SELECT s.number, s.unit_id, {SOURCE} {_NUMBERED[vendor]}{lock}"
    for vendor, lock in (("postgresql", " ORDER BY s.unit_id FOR UPDATE OF s"), ("sqlite", ""))
}
