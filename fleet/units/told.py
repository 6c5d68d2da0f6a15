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

from fleet.arrays import Bigints, ManyBytes, Moments, bytes_of_each
from fleet.id_lists import AMONG, listed
from fleet.measured import Measured, Stored, read_measured
from fleet.stamps import moment_of
from fleet.units.numbers import SOURCE

Ids = npt.NDArray[np.int64]


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

    ids: Ids
    numbers: Sequence[str]
    first: npt.NDArray[np.int64]
    """Time of the first of the readings that are stored together, of which the newest is told [µs since 1970]."""
    last: npt.NDArray[np.int64]
    """Time of the newest [µs since 1970]."""
    shapes: npt.NDArray[np.int64]
    groups: npt.NDArray[Any]
    """Their groups (`fleet.packed`)."""


def move_newest(fleet_id: int, newest: Newest, *, source: str, patience_ms: int) -> tuple[Ids, int | None]:
    """Replaces the newest groups of the units of which all this is true, locks their rows and moves their versions.

    It is true of a unit that has this id and number, whose newest group has this shape, and which has told nothing
    since *first*. Returns the ids of these units, and the id of a source, which is None where there is no such source.
    One statement on PostgreSQL, which locks rows in whatever order its plan has: so from here to the end of the
    transaction nothing waits for a lock longer than *patience_ms*, which 0 says has no end. *Raises* OperationalError
    (`fleet.retry.is_taken`) where it would. On SQLite the id is None also where nothing moved.
    """
    if connection.vendor == "postgresql":
        return _move_at_once(newest, fleet_id, source, f"{patience_ms}ms")
    return _move_one_by_one(newest, fleet_id, source)


def _move_at_once(newest: Newest, fleet_id: int, source: str, patience: str) -> tuple[Ids, int | None]:
    columns: list[Any] = [Bigints(newest.ids), "\n".join(newest.numbers), Bigints(newest.shapes)]
    groups: list[Any] = [Moments(newest.first), Moments(newest.last), ManyBytes(newest.groups)]
    with connection.cursor() as cursor:
        cursor.execute(_MOVE_POSTGRESQL, [*columns, *groups, fleet_id, patience, len(newest.ids), fleet_id, source])
        moved, source_id = cursor.fetchone()
    return newest.ids if moved is None else np.array(moved, dtype=np.int64), source_id


# The unit is found by its id; its number, which must still be so, is only compared: by that index it costs more. Arrays
# are taken apart in the list of a SELECT: in a FROM each would be written down as a table first. Of all being moved,
# which is usual, nothing is said one by one.
_MOVE_POSTGRESQL = f"""
WITH moved AS (
    UPDATE fleet_unitstate AS s SET newest = n.newest, newest_at = n.last, version = s.version + 1
      FROM (SELECT unnest(%s) AS unit_id, unnest(string_to_array(%s, E'\\n')) AS number, unnest(%s) AS shape,
                   unnest(%s) AS first, unnest(%s) AS last, unnest(%s) AS newest) AS n
     WHERE s.unit_id = n.unit_id AND s.number IS NOT DISTINCT FROM n.number AND s.fleet_id = %s AND s.shape = n.shape
       AND s.newest_at < n.first AND (SELECT set_config('lock_timeout', %s, true)) IS NOT NULL
    RETURNING s.unit_id)
SELECT CASE WHEN count(*) < %s THEN coalesce(array_agg(unit_id), '{{}}') END, {SOURCE} FROM moved"""


def _move_one_by_one(newest: Newest, fleet_id: int, source: str) -> tuple[Ids, int | None]:
    """For SQLite, where the transaction is the lock and a statement a call of a function."""
    ids: list[int] = newest.ids.tolist()
    first, last = (list(map(_stored_micros, micros.tolist())) for micros in (newest.first, newest.last))
    asked = orjson.dumps(list(zip(ids, newest.numbers, newest.shapes.tolist(), first, strict=True))).decode()
    with connection.cursor() as cursor:
        cursor.execute(_WHICH_SQLITE, [fleet_id, source, asked, fleet_id])
        moved: list[tuple[int, int | None]] = cursor.fetchall()
        which = {pk for pk, _ in moved}
        told = zip(bytes_of_each(newest.groups), last, ids, strict=True)
        cursor.executemany(_MOVE_SQLITE, [one for one in told if one[2] in which])
    return np.array(sorted(which), dtype=np.int64), moved[0][1] if moved else None


_WHICH_SQLITE = f"""
SELECT s.unit_id, {SOURCE}
  FROM json_each(%s) AS n CROSS JOIN fleet_unitstate s
    ON s.unit_id = json_extract(n.value, '$[0]') AND s.number = json_extract(n.value, '$[1]') AND s.fleet_id = %s
   AND s.shape = json_extract(n.value, '$[2]') AND s.newest_at < json_extract(n.value, '$[3]')"""
_MOVE_SQLITE = "UPDATE fleet_unitstate SET newest = %s, newest_at = %s, version = version + 1 WHERE unit_id = %s"


def save_documents(told: Sequence[tuple[int, Stored]]) -> None:
    """Writes whole documents of locked units in one statement, and moves their versions."""
    if not told:
        return
    rows = [(one.newest, one.rest, _stored_at(one.newest_at), one.shape, pk) for pk, one in told]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_SAVE_POSTGRESQL, [orjson.dumps([(one.hex(), *others) for one, *others in rows]).decode()])
        else:
            cursor.executemany(_SAVE_SQLITE, rows)


_SAVE_POSTGRESQL = """
UPDATE fleet_unitstate AS s SET newest = decode(n.value->>0, 'hex'), measured = n.value->>1,
       newest_at = (n.value->>2)::timestamptz, shape = (n.value->>3)::bigint, version = s.version + 1
  FROM json_array_elements(%s::json) AS n
 WHERE s.unit_id = (n.value->>4)::bigint"""
_SAVE_SQLITE = (
    "UPDATE fleet_unitstate SET newest = %s, measured = %s, newest_at = %s, shape = %s, version = version + 1"
    " WHERE unit_id = %s"
)


def _stored_micros(micros: int) -> str | None:
    return _stored_at(moment_of(micros))


def _stored_at(at: datetime | None) -> str | None:
    return None if at is None else str(connection.ops.adapt_datetimefield_value(at))
