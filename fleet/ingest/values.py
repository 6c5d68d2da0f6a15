"""What readings say, as one table of numbers: their hashes, their shapes, and their rows for the database.

A row of the table is a reading, a column one of `SAID`; NaN is what was not said (no JSON number is NaN), and flags
are 0 and 1. A whole batch costs what a few readings cost one by one.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from msgspec.structs import astuple

from fleet.ingest.fields import FIELD_NAMES
from fleet.measured import shape_of

Table = npt.NDArray[np.float64]
Words = npt.NDArray[np.uint64]
MORE = ("fuel_pct", "latitude", "longitude")
SAID = (*FIELD_NAMES, *MORE)
"""Everything a reading can say, in the order of the wire's types."""
ON, FUEL_PCT = SAID.index("unit_on"), SAID.index("fuel_pct")
_pack = struct.Struct(f"{len(SAID)}d").pack
_BITS = 1 << np.arange(len(SAID) + 1)


def table_of(said: Sequence[tuple[Any, ...]]) -> Table:
    """The table of readings of which each is told in the order of SAID, None for what was not said."""
    return np.array(said, dtype=np.float64).reshape(len(said), len(SAID))


def table_of_wire(said: Sequence[Any]) -> Table:
    """The same of readings as the wire's type has them, NaN for what was not said. *Raises* struct.error on others."""
    return np.frombuffer(b"".join([_pack(*astuple(one)) for one in said])).reshape(len(said), len(SAID))


def content_hashes(table: Table) -> npt.NDArray[np.int64]:
    """Tells a repeat from a contradiction: 64 bits over what each reading said, its bits and nothing else.

    Each value is mixed on its own (the finisher of SplitMix64, a one-to-one mapping) with a key of its column's
    name, and the sum is mixed again. Not for secrets: a sender who looks for two readings of one hash fools himself.
    """
    told = ~np.isnan(table)
    words = np.where(told, table, 0.0).view(np.uint64)
    mixed = np.where(told, _mix(words ^ _column_keys()), np.uint64(0))
    return _mix(mixed.sum(axis=1, dtype=np.uint64)).view(np.int64)


def _mix(words: Words) -> Words:
    words = (words ^ (words >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    words = (words ^ (words >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed: Words = words ^ (words >> np.uint64(31))
    return mixed


@lru_cache(maxsize=1)
def _column_keys() -> Words:
    """From the names, so that a field that is added later changes no hash."""
    keys = [int.from_bytes(hashlib.blake2b(name.encode(), digest_size=8).digest(), "big") for name in SAID]
    return np.array(keys, dtype=np.uint64)


def shapes_of(table: Table) -> npt.NDArray[np.int64]:
    """The shape (`fleet.measured`) of what each reading tells of its unit."""
    masks = np.column_stack((~np.isnan(table), table[:, ON] == 1.0)) @ _BITS
    kinds, which = np.unique(masks, return_inverse=True)
    return np.array([_shape(mask) for mask in kinds.tolist()], dtype=np.int64)[which]


@lru_cache(maxsize=1024)
def _shape(mask: int) -> int:
    said = {name for place, name in enumerate(SAID) if mask >> place & 1}
    names = said - set(MORE)
    if "fuel_pct" in said:
        names.add("fuel_l")
    if "latitude" in said:
        names.add("position")
    return shape_of(names, on=bool(mask >> len(SAID) & 1))
