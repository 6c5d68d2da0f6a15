"""Arrays of whole numbers and of moments as parameters of statements, in PostgreSQL's binary format.

The driver writes a list element by element in Python, and a text is taken apart and read again by the server; of a
column of numbers this is one copy. Format: dimensions, flags, the type of the elements, their count, the first index,
then for each its length and its value, big-endian.
"""

from __future__ import annotations

import struct
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from fleet.stamps import moment_of, stamp

BIGINT, BIGINTS = 20, 1016
MOMENT, MOMENTS = 1184, 1185
"""Numbers of types, and of the types of their arrays: `bigint`, `timestamp with time zone`."""
EPOCH_US = 946_684_800_000_000
"""From where PostgreSQL counts its microseconds [µs since 1970]: the year 2000."""
_ELEMENT = np.dtype([("length", ">i4"), ("value", ">i8")])


class Bigints:
    """A parameter of type `bigint[]`."""

    element: ClassVar[int] = BIGINT
    array: ClassVar[int] = BIGINTS

    def __init__(self, values: npt.NDArray[np.int64]) -> None:
        self.values = values

    def binary(self) -> bytes:
        elements = np.empty(len(self.values), dtype=_ELEMENT)
        elements["length"] = 8
        elements["value"] = self.values
        return struct.pack(">5i", 1, 0, self.element, len(elements), 1) + elements.tobytes()

    def text(self) -> bytes:
        """The same for people, who read statements in logs."""
        return b"{%s}" % ",".join(map(str, self.values.tolist())).encode()


class Moments(Bigints):
    """A parameter of type `timestamptz[]`, of microseconds since 1970."""

    element, array = MOMENT, MOMENTS

    def __init__(self, micros: npt.NDArray[np.int64]) -> None:
        super().__init__(micros - EPOCH_US)

    def text(self) -> bytes:
        return b"{%s}" % ",".join(stamp(moment_of(value + EPOCH_US)) for value in self.values.tolist()).encode()


def teach_arrays(connection: Any, **_: Any) -> None:
    """Tells the driver of a new connection how these are written; a receiver of `connection_created`."""
    if connection.vendor != "postgresql":
        return
    from psycopg.adapt import Dumper
    from psycopg.pq import Format

    class Text(Dumper):
        def dump(self, obj: Bigints) -> bytes:
            return obj.text()

    class Binary(Dumper):
        format = Format.BINARY

        def dump(self, obj: Bigints) -> bytes:
            return obj.binary()

    for kind in (Bigints, Moments):
        for written in (Text, Binary):  # the last is what it takes if it may choose
            dumper = type(f"{written.__name__}{kind.__name__}", (written,), {"oid": kind.array})
            connection.connection.adapters.register_dumper(kind, dumper)
