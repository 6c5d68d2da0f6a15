"""A table of readings says what its rows say: hashes, shapes, and the stream for the database."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.ingest.binary import HEADER, TRAILER, binary_copy
from fleet.ingest.fields import FIELD_NAMES, READING_FIELDS, Kind
from fleet.ingest.parse import micros_of
from fleet.ingest.values import SAID, content_hashes, shapes_of, table_of
from fleet.measured import shape_of

NOW = datetime(2027, 1, 12, 6, 0, 0, 123457, tzinfo=UTC)
KINDS = [field.kind for field in READING_FIELDS]
rows = st.tuples(
    *(st.none() | (st.booleans() if kind is Kind.FLAG else st.floats(-90, 500)) for kind in KINDS),
    *(st.none() | st.floats(-90, 90) for _ in range(3)),
)
EPOCH, US = datetime(2000, 1, 1, tzinfo=UTC), timedelta(microseconds=1)
NOTHING: tuple[Any, ...] = (None,) * len(SAID)


def only(place: int, value: float | bool) -> tuple[Any, ...]:
    return (*NOTHING[:place], value, *NOTHING[place + 1 :])


@given(told=st.lists(rows, min_size=1, max_size=5))
def test_a_hash_is_of_one_reading_whatever_stands_beside_it(told: list[tuple[Any, ...]]) -> None:
    together = content_hashes(table_of(told)).tolist()
    assert together == [int(content_hashes(table_of([one]))[0]) for one in told]
    assert len(set(together)) == len({repr([None if v is None else float(v) for v in one]) for one in told})


def test_a_hash_tells_the_value_its_column_and_silence_apart() -> None:
    told = [only(place, value) for place in range(len(SAID)) for value in (0.0, 1.0, 2.0, -2.0, 0.1)]
    pairs = [
        (*NOTHING[:i], 7.0, *NOTHING[i + 1 : j], 7.0, *NOTHING[j + 1 :]) for i in range(16) for j in range(i + 1, 16)
    ]
    hashes = content_hashes(table_of([NOTHING, *told, *pairs])).tolist()
    assert len(set(hashes)) == len(hashes)


def test_a_hash_stays_what_it_is_from_release_to_release() -> None:
    """It is stored with the reading: another value here makes contradictions of all repeats."""
    said = (7.1, 20.0, 7.0, -10.0, 8.0, 78.0, 150.0, 12.7, 1834.2, None, True, True, False, None, 60.1, 24.9)
    assert content_hashes(table_of([said])).tolist() == [KNOWN_HASH]


KNOWN_HASH = -8207945011871177135


@given(said=rows)
def test_a_shape_is_that_of_the_names_a_reading_tells(said: tuple[Any, ...]) -> None:
    told = {name for name, value in zip(SAID, said, strict=True) if value is not None}
    names = told & set(FIELD_NAMES)
    if "fuel_pct" in told:
        names.add("fuel_l")
    if "latitude" in told:
        names.add("position")
    assert shapes_of(table_of([said])) == [shape_of(names, on=said[SAID.index("unit_on")] is True)]


def micros(*ats: datetime) -> npt.NDArray[np.int64]:
    return micros_of(np.array([at.timestamp() for at in ats]))


def read_stream(stream: bytes) -> Iterator[tuple[Any, ...]]:
    """The rows of a stream, by the letter of PostgreSQL's description of the format."""
    assert stream.startswith(HEADER)
    assert stream.endswith(TRAILER)
    place = len(HEADER)
    while (count := struct.unpack_from(">h", stream, place)[0]) != -1:
        place += 2
        row: list[Any] = []
        for column in range(count):
            (length,) = struct.unpack_from(">i", stream, place)
            place += 4
            if length == -1:
                row.append(None)
                continue
            kind = "q" if column < 4 else "?" if KINDS[column - 4] is Kind.FLAG else "d"
            assert length == struct.calcsize(f">{kind}")
            row.append(struct.unpack_from(f">{kind}", stream, place)[0])
            place += length
        yield tuple(row)
    assert place + 2 == len(stream)


@given(told=st.lists(rows, min_size=1, max_size=6))
def test_a_stream_holds_every_row_with_its_nulls(told: list[tuple[Any, ...]]) -> None:
    ats = [NOW + i * US for i in range(len(told))]
    hashes = content_hashes(table_of(told))
    values = table_of(told)[:, : len(FIELD_NAMES)]
    count = len(told)
    stream = binary_copy(np.arange(count), micros(*ats), np.full(count, 7), hashes, values)
    expected = {
        (i, (at - EPOCH) // US, 7, int(content_hash), *said[: len(FIELD_NAMES)])
        for i, (at, content_hash, said) in enumerate(zip(ats, hashes, told, strict=True))
    }
    assert set(read_stream(stream)) == expected


@given(at=st.datetimes(datetime(2000, 1, 1), datetime(2105, 1, 1), timezones=st.just(UTC)))  # noqa: DTZ001 - zone beside
def test_a_time_keeps_its_microsecond(at: datetime) -> None:
    values = np.full((1, len(KINDS)), np.nan)
    (row,) = read_stream(binary_copy(np.array([1]), micros(at), np.array([2]), np.array([3]), values))
    assert row[1] == (at - EPOCH) // US


@pytest.mark.parametrize("flag", [True, False])
def test_flags_and_numbers_keep_their_kind(flag: bool) -> None:
    values = np.array([[1.0 if kind is Kind.FLAG and flag else 0.0 for kind in KINDS]])
    (row,) = read_stream(binary_copy(np.array([1]), micros(NOW), np.array([2]), np.array([3]), values))
    assert [type(value) for value in row[4:]] == [bool if kind is Kind.FLAG else float for kind in KINDS]
