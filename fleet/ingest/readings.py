"""Writes the readings of a batch with one set-based statement and says which were known before."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import numpy.typing as npt
import orjson
from django.db import connection

from fleet.ingest.binary import binary_copy
from fleet.ingest.fields import FIELD_NAMES
from fleet.ingest.values import Table
from fleet.stamps import moment_of

Key = tuple[int, datetime, int]
"""(unit id, at, source id): the identity of a reading."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Readings to be stored, column by column."""

    units: npt.NDArray[np.int64]
    micros: npt.NDArray[np.int64]
    """Their times [µs since 1970]."""
    sources: npt.NDArray[np.int64]
    hashes: npt.NDArray[np.int64]
    values: Table
    """In the order of READING_FIELDS; NaN is null."""


COLUMNS = ("unit_id", "at", "source_id", "content_hash", *FIELD_NAMES)
_NAMES = ", ".join(COLUMNS)
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


def insert_readings(rows: Rows) -> None:
    """Stores rows none of which is stored yet. *Raises* IntegrityError when one is."""
    if not len(rows.units):
        return
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            stream = binary_copy(rows.units, rows.micros, rows.sources, rows.hashes, rows.values)
            with connection.wrap_database_errors, cursor.cursor.copy(_COPY) as copy:
                copy.write(stream)
            return
        micros = rows.micros.tolist()
        texts = {moment: _stored(moment_of(moment)) for moment in set(micros)}
        ats = [texts[moment] for moment in micros]
        keys = zip(rows.units.tolist(), ats, rows.sources.tolist(), rows.hashes.tolist(), strict=True)
        # The driver stores NaN as null and, in a column of flags, 1.0 as 1.
        cursor.executemany(_INSERT, [(*key, *values) for key, values in zip(keys, rows.values.tolist(), strict=True)])


def _stored(at: datetime) -> str:
    return str(connection.ops.adapt_datetimefield_value(at))
