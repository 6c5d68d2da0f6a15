"""The newest group of a unit as bytes: what is read is what was written, one by one or by the batch."""

from __future__ import annotations

import struct
from datetime import UTC, datetime, timedelta
from math import nan
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.arrays import bytes_of_each
from fleet.ingest.fields import FIELD_NAMES, READING_FIELDS, Kind
from fleet.packed import PLACES, pack_group, pack_groups, unpack_group
from fleet.stamps import EPOCH, moment_of

AT = datetime(2027, 1, 12, 6, 0, 0, 123457, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
kinds = {field.name: field.kind for field in READING_FIELDS}
values = st.fixed_dictionaries(
    {},
    optional={
        name: st.booleans() if kinds.get(name) is Kind.FLAG else st.floats(allow_nan=False, allow_infinity=False)
        for name in PLACES
    },
)
# A source's name holds no control characters, so none ends with the zeros that fill it up.
sources = st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=40)
groups = st.tuples(st.integers(0, 2**52).map(moment_of), values, sources)


@given(group=groups)
def test_a_group_is_read_as_it_was_written(group: tuple[datetime, dict[str, Any], str]) -> None:
    assert unpack_group(pack_group(*group)) == group


@given(batch=st.lists(groups, min_size=1, max_size=5))
def test_a_batch_is_packed_as_its_groups_one_by_one(batch: list[tuple[datetime, dict[str, Any], str]]) -> None:
    micros = np.array([(at - EPOCH) // MICROSECOND for at, _, _ in batch])
    table = np.array([[said.get(name, nan) for name in PLACES] for _, said, _ in batch], dtype=np.float64)
    packed = bytes_of_each(pack_groups(micros, table, [source for _, _, source in batch]))
    assert [unpack_group(one) for one in packed] == batch


def test_everything_that_a_reading_can_tell_has_its_place() -> None:
    assert set(PLACES) == {*FIELD_NAMES, "latitude", "longitude"}
    with pytest.raises(KeyError, match="colour"):
        pack_group(AT, {"colour": 1.0}, "a")


def test_a_row_of_an_earlier_release_tells_what_there_was_to_tell_then() -> None:
    """Bytes written by hand: a later release that moves a place, instead of adding one, fails here."""
    earlier = struct.pack("<qB3d", (AT - EPOCH) // MICROSECOND, 3, 7.5, nan, 7.0) + "tor/nö".encode()
    assert unpack_group(earlier) == (AT, {"return_air_c": 7.5, "set_point_c": 7.0}, "tor/nö")
    row = struct.pack("<qB15d", 0, 15, *range(10), 1, 0, 1, 60.1, 24.9) + b"a"
    assert unpack_group(row) == (
        EPOCH,
        {
            "return_air_c": 0.0,
            "discharge_air_c": 1.0,
            "set_point_c": 2.0,
            "ambient_c": 3.0,
            "cargo_c": 4.0,
            "coolant_c": 5.0,
            "fuel_l": 6.0,
            "battery_v": 7.0,
            "engine_hours_h": 8.0,
            "speed_km_h": 9.0,
            "heater_running": True,
            "unit_on": False,
            "door_open": True,
            "latitude": 60.1,
            "longitude": 24.9,
        },
        "a",
    )
