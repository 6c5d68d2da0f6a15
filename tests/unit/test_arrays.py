"""Arrays for PostgreSQL, by the letter of its binary format (array_send and int8send of its sources, from memory; the
database itself reads them in tests/db/test_ingest_live.py)."""

from __future__ import annotations

import struct
from datetime import UTC, datetime

import numpy as np
import pytest

from fleet.arrays import Bigints, ManyBytes, Moments


@pytest.mark.parametrize("values", [[], [7], [1, -2, 2**62]])
def test_numbers_stand_one_behind_the_other_with_their_lengths(values: list[int]) -> None:
    stream = Bigints(np.array(values, dtype=np.int64)).binary()
    dimensions, nulls, element, count, first = struct.unpack_from(">5i", stream)
    assert (dimensions, nulls, element, count, first) == (1, 0, 20, len(values), 1)
    pairs = list(struct.iter_unpack(">iq", stream[20:]))
    assert pairs == [(8, value) for value in values]


def test_moments_count_from_the_year_2000() -> None:
    at = datetime(2000, 1, 1, 0, 0, 1, 5, tzinfo=UTC)
    moments = Moments(np.array([round(at.timestamp() * 1e6)]))
    assert struct.unpack(">iq", moments.binary()[20:]) == (8, 1_000_005)
    assert moments.text() == b"{2000-01-01T00:00:01.000005Z}"


def test_records_are_all_of_one_length() -> None:
    records = ManyBytes(np.array([b"abc", b"de"], dtype="S3"))
    assert struct.unpack(">5i i3s i3s", records.binary()) == (1, 0, 17, 2, 1, 3, b"abc", 3, b"de\0")
