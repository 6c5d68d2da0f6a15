"""From the bytes of a CloudEvents batch to typed items, one by one: a bad item costs itself, not its neighbours.

A batch is first read as what nearly all are, plain readings, by one call (`fleet.ingest.plain`). If that refuses it,
each item is read so; and what is refused then is read again the careful way, which says what is wrong with it, or that
nothing is. All ways give the same values.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from functools import cached_property
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt

from fleet.http.parsers import MAX_DEPTH, MalformedBody, TooLarge
from fleet.ingest.careful import BadItem, ReadingValues, bad_value, read_data
from fleet.ingest.plain import read_batch, read_one, values_of
from fleet.ingest.twins import TooDeep, repeats_a_key
from fleet.ingest.values import Table, table_of_wire
from fleet.ingest.wire import BoundedData, Envelope, PlainReading, decode_batch, decode_envelope

MAX_ITEMS = 1000
NOT_READ = BoundedData()


class Item(msgspec.Struct, frozen=True):
    """One item of a batch: its place, its bytes, its envelope when it could be read, and its values when plain."""

    index: int
    raw: bytes
    envelope: Envelope | PlainReading | None
    bad: BadItem | None
    values: ReadingValues | None = None


class Split(Sequence[Item]):
    """The items of a batch. Plain readings stand side by side in `plain`, and are made items where one is asked for."""

    def __init__(self, body: bytes) -> None:
        """*Raises* MalformedBody or TooLarge."""
        self._body = body
        # Without these two no text can hold a control character, and every quote ends or begins a string.
        self._tame = b"\\" not in body and b"\x7f" not in body
        self.others: dict[int, Item] = {}
        """The items that are not plain, by place."""
        self.plain: Sequence[PlainReading | None]
        """In the places of the batch; None where the item is among the others."""
        self.table: Table
        """What the plain readings say, in the same places; NaN where the item is among the others."""
        together = read_batch(body) if self._tame else None
        if together is not None and len(together[0]) <= MAX_ITEMS:
            self.plain, self.table = together
            return
        self.plain = [self._plain_or_other(index, raw) for index, raw in enumerate(self._raws)]
        self.table = table_of_wire([NOT_READ if event is None else event.data for event in self.plain])

    @cached_property
    def _raws(self) -> list[bytes]:
        return _cut(self._body)

    def _plain_or_other(self, index: int, raw: bytes) -> PlainReading | None:
        try:
            if self._tame or (b"\\" not in raw and b"\x7f" not in raw):
                event = read_one(raw)
                if event is not None:
                    return event
            self.others[index] = _item(index, raw)
        except (RecursionError, TooDeep):
            bad = BadItem("too-deep", f"A batch may be nested {MAX_DEPTH} deep.")
            self.others[index] = Item(index, raw, None, bad)
        return None

    def __len__(self) -> int:
        return len(self.plain)

    def __getitem__(self, index: Any) -> Any:
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        event = self.plain[index]
        return self.others[index] if event is None else Item(index, self._raws[index], event, None, values_of(event))

    @cached_property
    def seconds(self) -> npt.NDArray[np.float64]:
        """Times of the plain readings in their places [s since 1970], NaN where the item is among the others.

        Each says to which microsecond it belongs (`micros_of`), until the year 2106.
        """
        return np.array([math.nan if event is None else event.time.timestamp() for event in self.plain])

    def ages_s(self, now: datetime) -> npt.NDArray[np.float64]:
        """How old each item with a readable envelope is [s]."""
        ages = now.timestamp() - self.seconds
        for index, item in self.others.items():
            if item.envelope is not None:
                ages[index] = (now - item.envelope.time).total_seconds()
        known: npt.NDArray[np.float64] = ages[~np.isnan(ages)]
        return known

    def id_of(self, index: int) -> str:
        """The id of an item, "" where it could not be read."""
        event = self.plain[index] or self.others[index].envelope
        return "" if event is None else event.id

    def heads(self, places: Iterable[int]) -> list[PlainReading | Envelope]:
        """The envelopes of those of the items in these places that have one, in their order."""
        heads = [self.plain[place] or self.others[place].envelope for place in places]
        return [head for head in heads if head is not None]


def split_batch(body: bytes) -> Split:
    """The items of a batch. *Raises* MalformedBody or TooLarge."""
    return Split(body)


def _cut(body: bytes) -> list[bytes]:
    try:
        raws = decode_batch(body)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError) as error:
        raise MalformedBody(f"The body is not a JSON array of events: {error}") from error
    if len(raws) > MAX_ITEMS:
        raise TooLarge(f"{len(raws)} events in one batch; at most {MAX_ITEMS} are taken.")
    return [bytes(raw) for raw in raws]


def _item(index: int, raw: bytes) -> Item:
    """An item that is not plain. *Raises* RecursionError or TooDeep."""
    if repeats_a_key(raw):
        return Item(index, raw, None, BadItem("duplicate-key", "A key stands twice in this item."))
    try:
        return Item(index, raw, decode_envelope(raw), None)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        return Item(index, raw, None, bad_value(error))


def read_values(item: Item) -> ReadingValues:
    """The values of a reading. *Raises* BadItem with a pointer into the item."""
    if item.values is not None:
        return item.values
    assert isinstance(item.envelope, Envelope)
    return read_data(item.envelope)


def micros_of(seconds: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    """The same times [µs since 1970], to the microsecond that was told."""
    micros: npt.NDArray[np.int64] = np.rint(seconds * 1e6).astype(np.int64)
    return micros


def in_utc(at: datetime) -> datetime:
    return at if at.tzinfo is UTC else at.astimezone(UTC)
