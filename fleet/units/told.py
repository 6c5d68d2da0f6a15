"""What readings told of units, in their state rows: the lock of a batch, documents read and written many at once."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import UTC, datetime
from typing import Any

import msgspec
import orjson
from django.db import connection

from fleet.id_lists import AMONG, listed
from fleet.measured import Measured, Stored, instants_of, read_measured


class LockedUnit(msgspec.Struct, gc=False):
    """A unit whose state row is under lock, and what is known of its document without reading it."""

    id: int
    newest_s: float | None
    """Time of its newest reading [s since 1970]; two times differ if their microseconds do."""
    shape: int


def lock_units(fleet_id: int, numbers: Collection[str], *, source: str) -> tuple[dict[str, LockedUnit], int | None]:
    """The fleet's units of these numbers, their state rows locked in ascending order; and the id of a source.

    One statement. The id is None where there is no such source, or no such unit.
    """
    if not numbers:
        return {}, None
    postgresql = connection.vendor == "postgresql"
    # Numbers hold no control characters, so one text with line breaks carries them all.
    listed = "\n".join(numbers) if postgresql else orjson.dumps(list(numbers)).decode()
    with connection.cursor() as cursor:
        cursor.execute(_LOCK[connection.vendor], [fleet_id, source, listed, fleet_id])
        rows = cursor.fetchall()
    source_id = rows[0][4] if rows else None
    if postgresql:
        return {number: LockedUnit(pk, at_s, shape) for number, pk, at_s, shape, _ in rows}, source_id
    return {number: LockedUnit(pk, _seconds(at), shape) for number, pk, at, shape, _ in rows}, source_id


def _seconds(at: datetime | None) -> float | None:
    """Of a moment as SQLite's driver reads it, which knows no zone."""
    return None if at is None else at.replace(tzinfo=UTC).timestamp()


_LOCK = {
    # The numbers drive the look-up, one probe of the unique index each, whatever the planner knows of the table;
    # `= ANY` in a prepared statement may compare all with all.
    "postgresql": """
        SELECT s.number, s.unit_id, date_part('epoch', s.newest_at), s.shape,
               (SELECT id FROM fleet_source WHERE fleet_id = %s AND name = %s)
          FROM unnest(string_to_array(%s, E'\\n')) AS n(number)
          JOIN fleet_unitstate s ON s.number = n.number AND s.fleet_id = %s
         ORDER BY s.unit_id FOR UPDATE OF s""",
    "sqlite": """
        SELECT s.number, s.unit_id, s.newest_at, s.shape,
               (SELECT id FROM fleet_source WHERE fleet_id = %s AND name = %s)
          FROM json_each(%s) AS n JOIN fleet_unitstate s ON s.number = n.value AND s.fleet_id = %s""",
}


class Document(msgspec.Struct):
    """What readings told of a unit, and the tank that turns per cent of it into litres."""

    measured: Measured
    tank_l: float | None


def read_documents(unit_ids: Collection[int]) -> dict[int, Document]:
    """The documents of units whose rows are locked, in one statement."""
    if not unit_ids:
        return {}
    with connection.cursor() as cursor:
        cursor.execute(_READ[connection.vendor], [listed(unit_ids)])
        rows = cursor.fetchall()
    return {pk: Document(read_measured(newest, rest), tank_l) for pk, newest, rest, tank_l in rows}


_READ = {
    vendor: "SELECT s.unit_id, s.newest, s.measured, m.tank_l FROM fleet_unitstate s"
    f" JOIN fleet_unit u ON u.id = s.unit_id JOIN fleet_unitmodel m ON m.id = u.model_id WHERE s.unit_id {among}"
    for vendor, among in AMONG.items()
}


def save_newest(unit_ids: Sequence[int], moments: Sequence[datetime], lines: str) -> None:
    """Replaces the newest groups of locked units by those of these lines, of the same shapes; moves versions."""
    if not unit_ids:
        return
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_SAVE_NEWEST, [listed(unit_ids), lines, instants_of(moments)])
            return
        told = zip(lines.split("\n"), map(_stored_at, moments), unit_ids, strict=True)
        cursor.executemany(
            "UPDATE fleet_unitstate SET newest = %s, newest_at = %s, version = version + 1 WHERE unit_id = %s",
            list(told),
        )


# JSON text holds no line break, so one text carries all documents. An array would be written element by element.
_SAVE_NEWEST = """
UPDATE fleet_unitstate AS s SET newest = n.newest, newest_at = n.newest_at, version = s.version + 1
  FROM unnest(string_to_array(%s, ',')::bigint[], string_to_array(%s, E'\\n'), string_to_array(%s, ',')::timestamptz[])
       AS n(unit_id, newest, newest_at)
 WHERE s.unit_id = n.unit_id"""


def save_documents(told: Sequence[tuple[int, Stored]]) -> None:
    """Writes whole documents of locked units in one statement, and moves their versions."""
    if not told:
        return
    rows: list[list[Any]] = [[pk, one.newest, one.rest, _stored_at(one.newest_at), one.shape] for pk, one in told]
    with connection.cursor() as cursor:
        cursor.execute(_SAVE_DOCUMENTS[connection.vendor], [orjson.dumps(rows).decode()])


_SAVE_DOCUMENTS = {
    vendor: "UPDATE fleet_unitstate AS s SET newest = n.newest, measured = n.rest, newest_at = n.newest_at,"
    f" shape = n.shape, version = s.version + 1 FROM (SELECT {columns} FROM {rows}) AS n WHERE s.unit_id = n.unit_id"
    for vendor, columns, rows in (
        (
            "postgresql",
            "(value->>0)::bigint AS unit_id, value->>1 AS newest, value->>2 AS rest,"
            " (value->>3)::timestamptz AS newest_at, (value->>4)::bigint AS shape",
            "json_array_elements(%s::json)",
        ),
        (
            "sqlite",
            "json_extract(value, '$[0]') AS unit_id, json_extract(value, '$[1]') AS newest,"
            " json_extract(value, '$[2]') AS rest, json_extract(value, '$[3]') AS newest_at,"
            " json_extract(value, '$[4]') AS shape",
            "json_each(%s)",
        ),
    )
}


def _stored_at(at: datetime | None) -> str | None:
    return None if at is None else str(connection.ops.adapt_datetimefield_value(at))
