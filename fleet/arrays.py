"""Arrays of whole numbers, of moments and of records as parameters of statements, in PostgreSQL's binary format.

The driver writes a list element by element in Python, and a text is taken apart and read again by the server; of a
column this is one copy. Format: dimensions, flags, the type of the elements, their count, the first index,
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
BYTES, MANY_BYTES = 17, 1001
"""Numbers of types, and of the types of their arrays: `bigint`, `timestamp with time zone`, `bytea`."""
EPOCH_US = 946_684_800_000_000
"""From where PostgreSQL counts its microseconds [µs since 1970]: the year 2000."""


class Column:
    """A parameter that is an array of values of one length."""

    element: ClassVar[int]
    array: ClassVar[int]

    def __init__(self, values: npt.NDArray[Any], kind: Any) -> None:
        self.values = values
        self._kind = np.dtype(kind)

    def binary(self) -> bytes:
        elements = np.empty(len(self.values), dtype=[("length", ">i4"), ("value", self._kind)])
        elements["length"] = self._kind.itemsize
        elements["value"] = self.values
        return struct.pack(">5i", 1, 0, self.element, len(elements), 1) + elements.tobytes()

    def text(self) -> bytes:
        """The same for people, who read statements in logs."""
        return b"{%s}" % ",".join(map(str, self.values.tolist())).encode()


class Bigints(Column):
    """A parameter of type `bigint[]`."""

    element, array = BIGINT, BIGINTS

    def __init__(self, values: npt.NDArray[np.int64]) -> None:
        super().__init__(values, ">i8")


class Moments(Column):
    """A parameter of type `timestamptz[]`, of microseconds since 1970."""

    element, array = MOMENT, MOMENTS

    def __init__(self, micros: npt.NDArray[np.int64]) -> None:
        super().__init__(micros - EPOCH_US, ">i8")

    def text(self) -> bytes:
        return b"{%s}" % ",".join(stamp(moment_of(value + EPOCH_US)) for value in self.values.tolist()).encode()


class ManyBytes(Column):
    """A parameter of type `bytea[]`, of records of one length."""

    element, array = BYTES, MANY_BYTES

    def __init__(self, records: npt.NDArray[Any]) -> None:
        super().__init__(records, records.dtype)

    def text(self) -> bytes:
        return b"{%s}" % ",".join(f'"\\\\x{one.hex()}"' for one in bytes_of_each(self.values)).encode()


def bytes_of_each(records: npt.NDArray[Any]) -> list[bytes]:
    """Records as bytes, one by one."""
    size = records.dtype.itemsize
    stream = records.tobytes()
    return [stream[start : start + size] for start in range(0, len(stream), size)]


def teach_arrays(connection: Any, **_: Any) -> None:
    """Tells the driver of a new connection how these are written; a receiver of `connection_created`."""
    if connection.vendor != "postgresql":
        return
    from psycopg.adapt import Dumper
    from psycopg.pq import Format

    class Text(Dumper):
        def dump(self, obj: Column) -> bytes:
            return obj.text()

    class Binary(Dumper):
        format = Format.BINARY

        def dump(self, obj: Column) -> bytes:
            return obj.binary()

    for kind in (Bigints, Moments, ManyBytes):
        for written in (Text, Binary):  # the last is what it takes if it may choose
            dumper = type(f"{written.__name__}{kind.__name__}", (written,), {"oid": kind.array})
            connection.connection.adapters.register_dumper(kind, dumper)
