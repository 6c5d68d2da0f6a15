"""Writes the readings of a batch with one set-based statement and says which were new."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import orjson
from django.db import connection, transaction

from fleet.ingest.fields import FIELD_NAMES, READING_FIELDS, Kind

Key = tuple[int, datetime, int]
"""(unit id, at, source id): the identity of a reading."""

COLUMNS = ("unit_id", "at", "source_id", "content_hash", *FIELD_NAMES)
_NAMES = ", ".join(COLUMNS)
_STAGE_TYPES = ["int8", "timestamptz", "int8", "int8"] + [
    "bool" if field.kind is Kind.FLAG else "float8" for field in READING_FIELDS
]


@dataclass(frozen=True, slots=True)
class NewReading:
    """One reading to store."""

    key: Key
    content_hash: int
    values: tuple[float | bool | None, ...]

    def row(self) -> tuple[object, ...]:
        return (*self.key, self.content_hash, *self.values)


@dataclass(frozen=True, slots=True)
class Written:
    """Keys that were there before: with the same content (repeats) or with other content (contradictions)."""

    repeats: frozenset[Key]
    contradictions: frozenset[Key]


def write_readings(readings: Sequence[NewReading]) -> Written:
    """Stores readings, each key once within the call. Call inside a transaction."""
    if not readings:
        return Written(frozenset(), frozenset())
    known = _write_staged(readings) if connection.vendor == "postgresql" else _write_many(readings)
    said = {reading.key: reading.content_hash for reading in readings}
    return Written(
        repeats=frozenset(key for key, content in known.items() if said[key] == content),
        contradictions=frozenset(key for key, content in known.items() if said[key] != content),
    )


def _write_staged(readings: Sequence[NewReading]) -> dict[Key, int]:
    """PostgreSQL: binary COPY into a staging table, then one INSERT.

    Nearly every batch is new as a whole, and then the insert's row count proves it. Only when it does not, the
    insert is taken back and the known keys are looked up first. The caller holds the units' state locks, so that
    nobody else adds readings of these units in between.
    """
    with connection.cursor() as cursor:
        cursor.execute(_STAGE)
        with cursor.cursor.copy(f"COPY reading_stage ({_NAMES}) FROM STDIN (FORMAT BINARY)") as copy:
            copy.set_types(_STAGE_TYPES)
            for reading in readings:
                copy.write_row(reading.row())
        known: dict[Key, int] = {}
        try:
            with transaction.atomic():
                cursor.execute(_INSERT)
                if cursor.rowcount != len(readings):
                    raise _SomeKnown
        except _SomeKnown:
            cursor.execute(_KNOWN)
            known = {(unit_id, at, source_id): content for unit_id, at, source_id, content in cursor.fetchall()}
            cursor.execute(_INSERT)
        cursor.execute("TRUNCATE reading_stage")
    return known


class _SomeKnown(Exception):
    """The insert skipped rows: take it back and look first."""


_STAGE = (
    "CREATE TEMPORARY TABLE IF NOT EXISTS reading_stage ("
    + ", ".join(f"{name} {kind}" for name, kind in zip(COLUMNS, _STAGE_TYPES, strict=True))
    + ")"
)
_INSERT = (
    f"INSERT INTO fleet_reading ({_NAMES}) SELECT {_NAMES} FROM reading_stage"
    " ORDER BY unit_id, at, source_id ON CONFLICT DO NOTHING"
)
_KNOWN = (
    "SELECT r.unit_id, r.at, r.source_id, r.content_hash FROM fleet_reading r JOIN reading_stage n"
    " ON r.unit_id = n.unit_id AND r.at = n.at AND r.source_id = n.source_id"
)


def _write_many(readings: Sequence[NewReading]) -> dict[Key, int]:
    """SQLite: the write lock is held, so looking first and inserting then cannot race."""
    adapt = connection.ops.adapt_datetimefield_value
    by_text = {(r.key[0], str(adapt(r.key[1])), r.key[2]): r for r in readings}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT json_extract(n.value, '$[0]'), json_extract(n.value, '$[1]'), json_extract(n.value, '$[2]'),"
            " r.content_hash FROM json_each(%s) AS n"
            " JOIN fleet_reading r ON r.unit_id = json_extract(n.value, '$[0]')"
            " AND r.at = json_extract(n.value, '$[1]') AND r.source_id = json_extract(n.value, '$[2]')",
            [orjson.dumps(list(by_text)).decode()],
        )
        known = {(unit_id, at, source_id): content for unit_id, at, source_id, content in cursor.fetchall()}
        marks = ", ".join(["%s"] * len(COLUMNS))
        cursor.executemany(
            f"INSERT INTO fleet_reading ({_NAMES}) VALUES ({marks})",
            [(*text, r.content_hash, *r.values) for text, r in by_text.items() if text not in known],
        )
    return {by_text[text].key: content for text, content in known.items()}
