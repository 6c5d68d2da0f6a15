"""The newest group of a unit as bytes, and those of a whole batch as an array of records.

Nearly every reading replaces such a group. As text its values would be written one by one, and sent and stored at twice
the length. The layout, little-endian: the time [µs since 1970], the number of values, the values in the order of PLACES
(NaN where the group does not tell one, flags as 0 and 1), and the name of the source up to the end, which may be filled
up with zeros.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from datetime import datetime
from math import isnan, nan
from typing import Any

import numpy as np
import numpy.typing as npt

from fleet.ingest.fields import READING_FIELDS, Kind
from fleet.stamps import EPOCH, moment_of

PLACES = (
    "return_air_c", "discharge_air_c", "set_point_c", "ambient_c", "cargo_c", "coolant_c", "fuel_l", "battery_v",
    "engine_hours_h", "speed_km_h", "heater_running", "unit_on", "door_open", "latitude", "longitude",
)  # fmt: skip
"""What is told of a unit, in the order in which it came to be known: rows of earlier releases hold the first of them,
so a new one is put at the end."""
_FLAGS = frozenset(field.name for field in READING_FIELDS if field.kind is Kind.FLAG)
_HEAD = struct.Struct("<qB")
_MICROSECOND = EPOCH.resolution


def pack_groups(
    micros: npt.NDArray[np.int64], values: npt.NDArray[np.float64], sources: Sequence[str]
) -> npt.NDArray[Any]:
    """Groups of these times [µs since 1970], these values (a column for each of PLACES) and these sources."""
    names = set(sources)
    told = np.array([source.encode() for source in (names if len(names) == 1 else sources)])
    layout = [("at", "<i8"), ("count", "u1"), ("values", "<f8", (len(PLACES),)), ("source", told.dtype)]
    packed = np.empty(len(micros), dtype=layout)
    packed["at"], packed["count"], packed["values"], packed["source"] = micros, len(PLACES), values, told
    return packed


def pack_group(at: datetime, values: Mapping[str, Any], source: str) -> bytes:
    """One such group. *Raises* KeyError for a value that has no place."""
    row: dict[str, Any] = {**dict.fromkeys(PLACES, nan), **values}
    numbers = [row.pop(name) for name in PLACES]
    if row:
        raise KeyError(f"{', '.join(row)} cannot be packed")
    return (
        _HEAD.pack((at - EPOCH) // _MICROSECOND, len(PLACES))
        + struct.pack(f"<{len(PLACES)}d", *numbers)
        + source.encode()
    )


def unpack_group(packed: bytes) -> tuple[datetime, dict[str, Any], str]:
    """The time, the values it tells and the source of a group."""
    micros, count = _HEAD.unpack_from(packed)
    numbers = struct.unpack_from(f"<{count}d", packed, _HEAD.size)
    said = {
        name: bool(number) if name in _FLAGS else number
        for name, number in zip(PLACES, numbers, strict=False)
        if not isnan(number)
    }
    return moment_of(micros), said, packed[_HEAD.size + 8 * count :].rstrip(b"\0").decode()
