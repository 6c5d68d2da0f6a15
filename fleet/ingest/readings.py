"""Writes the readings of a batch with one set-based statement and says which were known before."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import orjson
from django.db import connection

from fleet.ingest.fields import FIELD_NAMES, READING_FIELDS, Kind

Key = tuple[int, datetime, int]
"""(unit id, at, source id): the identity of a reading."""
Row = tuple[Any, ...]
"""The key, the content hash, and the values in the order of READING_FIELDS."""

COLUMNS = ("unit_id", "at", "source_id", "content_hash", *FIELD_NAMES)
_NAMES = ", ".join(COLUMNS)
_TYPES = ["int8", "timestamptz", "int8", "int8"] + [
    "bool" if field.kind is Kind.FLAG else "float8" for field in READING_FIELDS
]
_COPY = f"COPY fleet_reading ({_NAMES}) FROM STDIN (FORMAT BINARY)"
_INSERT = f"INSERT INTO fleet_reading ({_NAMES}) VALUES ({', '.join(['%s'] * len(COLUMNS))})"


def known_hashes(keys: Sequence[Key]) -> dict[Key, int]:
    """The content hashes of those of these keys that are stored. One statement.

    The caller holds the units' state locks, so that nobody else adds readings of these units until it commits.
    """
    if not keys:
        return {}
    units, ats, sources = zip(*keys, strict=True)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_KNOWN_POSTGRESQL, [_listed(units), _listed(at.isoformat() for at in ats), _listed(sources)])
            return {(unit, at, source): content for unit, at, source, content in cursor.fetchall()}
        texts = [_stored(at) for at in ats]
        cursor.execute(_KNOWN_SQLITE, [orjson.dumps(list(zip(units, texts, sources, strict=True))).decode()])
        at_of = dict(zip(texts, ats, strict=True))
        return {(unit, at_of[text], source): content for unit, text, source, content in cursor.fetchall()}


def _listed(values: Iterable[Any]) -> str:
    """One text instead of an array: the driver writes a list element by element."""
    return ",".join(map(str, values))


_KNOWN_POSTGRESQL = """
SELECT r.unit_id, r.at, r.source_id, r.content_hash
  FROM unnest(string_to_array(%s, ',')::bigint[], string_to_array(%s, ',')::timestamptz[],
              string_to_array(%s, ',')::bigint[]) AS n(unit_id, at, source_id)
  JOIN fleet_reading r ON r.unit_id = n.unit_id AND r.at = n.at AND r.source_id = n.source_id"""
_KNOWN_SQLITE = """
SELECT r.unit_id, json_extract(n.value, '$[1]'), r.source_id, r.content_hash
  FROM json_each(%s) AS n
  JOIN fleet_reading r ON r.unit_id = json_extract(n.value, '$[0]') AND r.at = json_extract(n.value, '$[1]')
                      AND r.source_id = json_extract(n.value, '$[2]')"""


def insert_readings(rows: Sequence[Row]) -> None:
    """Stores rows in the order of their keys, none of which is stored yet. *Raises* IntegrityError when one is."""
    if not rows:
        return
    with connection.cursor() as cursor:
        if connection.vendor != "postgresql":
            texts: dict[datetime, str] = {at: _stored(at) for at in {row[1] for row in rows}}
            cursor.executemany(_INSERT, [(row[0], texts[row[1]], *row[2:]) for row in rows])
            return
        with connection.wrap_database_errors, cursor.cursor.copy(_COPY) as copy:
            copy.set_types(_TYPES)
            write = copy.write_row
            for row in rows:
                write(row)


def _stored(at: datetime) -> str:
    return str(connection.ops.adapt_datetimefield_value(at))
