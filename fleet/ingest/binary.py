"""Rows of readings in the binary format of PostgreSQL's COPY, written as arrays of records instead of one by one.

A row is the number of its columns, then for each column the length of its value in bytes and the value, big-endian; a
null is a length of -1. Rows with the same nulls are records of one type, and nearly all rows of a batch are.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from fleet.arrays import EPOCH_US
from fleet.ingest.fields import READING_FIELDS, Kind
from fleet.ingest.values import Table

HEADER = b"PGCOPY\n\xff\r\n\0" + bytes(8)
TRAILER = b"\xff\xff"
_KEYS = ("unit_id", "at", "source_id", "content_hash")
_BITS = 1 << np.arange(len(READING_FIELDS))


def binary_copy(
    units: npt.NDArray[np.int64],
    micros: npt.NDArray[np.int64],
    sources: npt.NDArray[np.int64],
    hashes: npt.NDArray[np.int64],
    values: Table,
) -> bytes:
    """The stream of rows of these columns, times in microseconds since 1970; NaN is null."""
    keys = (units, micros - EPOCH_US, sources, hashes)
    masks = ~np.isnan(values) @ _BITS
    kinds: list[int] = np.unique(masks).tolist()
    if len(kinds) == 1:
        return b"".join((HEADER, _records(kinds[0], keys, values), TRAILER))
    chosen = ((mask, masks == mask) for mask in kinds)
    parts = [_records(mask, [key[rows] for key in keys], values[rows]) for mask, rows in chosen]
    return b"".join((HEADER, *parts, TRAILER))


def _records(mask: int, keys: Sequence[npt.NDArray[Any]], values: Table) -> bytes:
    """Rows of which all have the values of *mask*."""
    records = np.repeat(_blank(mask), len(values))
    for name, key in zip(_KEYS, keys, strict=True):
        records[name] = key
    for place, field in enumerate(READING_FIELDS):
        if mask >> place & 1:
            records[field.name] = values[:, place]
    return records.tobytes()


@lru_cache(maxsize=1024)
def _blank(mask: int) -> npt.NDArray[Any]:
    """One row with its lengths, and zeros for its values."""
    kinds = dict.fromkeys(_KEYS, ">i8")
    for place, field in enumerate(READING_FIELDS):
        kinds[field.name] = ("u1" if field.kind is Kind.FLAG else ">f8") if mask >> place & 1 else ""
    layout = [("columns", ">i2")]
    for name, kind in kinds.items():
        layout += [(f"length of {name}", ">i4"), (name, kind)] if kind else [(f"length of {name}", ">i4")]
    blank = np.zeros(1, dtype=layout)
    blank["columns"] = len(kinds)
    for name, kind in kinds.items():
        blank[f"length of {name}"] = np.dtype(kind).itemsize if kind else -1
    return blank
