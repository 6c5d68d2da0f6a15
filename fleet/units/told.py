"""What readings told of units, in their state rows: documents read and written many at once."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt
import orjson
from django.db import connection

from fleet.arrays import Bigints, Moments
from fleet.id_lists import AMONG, listed
from fleet.measured import Measured, Stored, read_measured
from fleet.stamps import moment_of
from fleet.units.numbers import SOURCE


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


@dataclass(frozen=True, slots=True)
class Newest:
    """What the newest readings of units tell, column by column, in ascending order of unit."""

    ids: npt.NDArray[np.int64]
    numbers: Sequence[str]
    first: npt.NDArray[np.int64]
    """Time of the first of the readings that are stored together, of which the newest is told [µs since 1970]."""
    last: npt.NDArray[np.int64]
    """Time of the newest [µs since 1970]."""
    shapes: npt.NDArray[np.int64]
    lines: str
    """Their groups (`fleet.measured.newest_lines`)."""


def move_newest(fleet_id: int, newest: Newest, *, source: str) -> tuple[list[int], int | None]:
    """Replaces the newest groups of the units of which all this is true, locks their rows and moves their versions.

    It is true of a unit that has this id and number, whose newest group has this shape, and which has told nothing
    since *first*. Returns the ids of these units, and the id of a source, which is None where there is no such source
    or no such unit. One statement; PostgreSQL locks rows in the order given.
    """
    columns: list[Any]
    if connection.vendor == "postgresql":
        numbers, ids = "\n".join(newest.numbers), Bigints(newest.ids)
        columns = [ids, numbers, Bigints(newest.shapes), Moments(newest.first), Moments(newest.last), newest.lines]
    else:
        first, last = (list(map(_stored_micros, micros.tolist())) for micros in (newest.first, newest.last))
        rows = (newest.ids.tolist(), newest.numbers, newest.shapes.tolist(), first, last, newest.lines.split("\n"))
        columns = [orjson.dumps(list(zip(*rows, strict=True))).decode()]
    with connection.cursor() as cursor:
        cursor.execute(_MOVE_NEWEST[connection.vendor], [*columns, fleet_id, fleet_id, source])
        moved = cursor.fetchall()
    return [pk for pk, _ in moved], moved[0][1] if moved else None


_MOVE_NEWEST = {
    vendor: "UPDATE fleet_unitstate AS s SET newest = n.newest, newest_at = n.last, version = s.version + 1"
    f" FROM {rows} WHERE s.unit_id = n.unit_id AND s.number = n.number AND s.fleet_id = %s AND s.shape = n.shape"
    f" AND s.newest_at < n.first RETURNING {returned}, {SOURCE}"
    for vendor, rows, returned in (
        # JSON text holds no line break, so one text carries all groups.
        (
            "postgresql",
            "unnest(%s, string_to_array(%s, E'\\n'), %s, %s, %s, string_to_array(%s, E'\\n'))"
            " AS n(unit_id, number, shape, first, last, newest)",
            "s.unit_id",
        ),
        (
            "sqlite",
            "(SELECT "
            + ", ".join(
                f"json_extract(value, '$[{i}]') AS {name}"
                for i, name in enumerate(("unit_id", "number", "shape", "first", "last", "newest"))
            )
            + " FROM json_each(%s)) AS n",
            "unit_id",
        ),
    )
}


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


def _stored_micros(micros: int) -> str | None:
    return _stored_at(moment_of(micros))


def _stored_at(at: datetime | None) -> str | None:
    return None if at is None else str(connection.ops.adapt_datetimefield_value(at))
