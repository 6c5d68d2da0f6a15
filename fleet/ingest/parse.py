"""From the bytes of a CloudEvents batch to typed items, one by one: a bad item costs itself, not its neighbours.

A batch is first read as what nearly all are, plain readings with nothing strange about them, by one call of the decoder
that also checks all limits. If that refuses it, each item is read so; and what is refused then is read again slowly,
which says what is wrong with it, or that nothing is. All ways give the same values.
"""

from __future__ import annotations

import hashlib
import math
import re
import struct
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from functools import cached_property
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt

from fleet.http.parsers import MAX_DEPTH, MalformedBody, TooLarge
from fleet.http.quantities import UnknownUnit, convert
from fleet.ingest.fields import FIELD_NAMES, READING_FIELDS, Kind, ReadingField
from fleet.ingest.twins import TooDeep, repeats_a_key
from fleet.ingest.values import SAID, Table, table_of_wire
from fleet.ingest.wire import (
    UNSAID,
    BoundedData,
    Envelope,
    PlainReading,
    Quantity,
    decode_batch,
    decode_data,
    decode_envelope,
    decode_plain,
    decode_plain_batch,
)

MAX_ITEMS = 1000
FIELDS = len(READING_FIELDS)
FUEL_PLACE = FIELD_NAMES.index("fuel_l")
QUANTITY_DIMENSION = {Kind.TEMPERATURE: "c", Kind.VOLUME: "l", Kind.VOLTAGE: "v", Kind.HOURS: "h"}
QUOTES = 26
"""In a plain reading without data: seven names of attributes and six of their values."""
_as_tuple = msgspec.structs.astuple
NOT_READ = (UNSAID,) * len(SAID)


class BadItem(ValueError):
    """One item cannot be taken; carries what quarantine will say."""

    def __init__(self, code: str, detail: str, pointer: str = "", *, retryable: bool = False) -> None:
        super().__init__(detail)
        self.code, self.detail, self.pointer, self.retryable = code, detail, pointer, retryable


class ReadingValues(msgspec.Struct, frozen=True, gc=False):
    """Values of one reading in our units, in the order of READING_FIELDS, and what else it said."""

    values: tuple[float | bool | None, ...]
    fuel_pct: float | None
    position: tuple[float, float] | None

    @property
    def said(self) -> tuple[float | bool | None, ...]:
        """Everything, in the order of `fleet.ingest.values.SAID`."""
        return (*self.values, self.fuel_pct, *(self.position or (None, None)))


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
        together = _plain_batch(body) if self._tame else None
        if together is not None:
            self.plain, self.table = together
            return
        self.plain = [self._plain_or_other(index, raw) for index, raw in enumerate(self._raws)]
        self.table = table_of_wire([NOT_READ if event is None else _as_tuple(event.data) for event in self.plain])

    @cached_property
    def _raws(self) -> list[bytes]:
        return _cut(self._body)

    def _plain_or_other(self, index: int, raw: bytes) -> PlainReading | None:
        try:
            if self._tame or (b"\\" not in raw and b"\x7f" not in raw):
                event = _plain(raw)
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
        return self.others[index] if event is None else Item(index, self._raws[index], event, None, _values(event))

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


def _plain_batch(body: bytes) -> tuple[list[PlainReading], Table] | None:
    """All items of a body without a backslash, if all are plain readings; None when they have to be looked at."""
    try:
        events: list[PlainReading] = decode_plain_batch(body)
        table = table_of_wire([_as_tuple(event.data) for event in events])
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, struct.error):
        return None  # a type is wrong, or a value is null or a quantity
    typed = sum(event.datacontenttype is not None for event in events)
    told = ~np.isnan(table)
    # No item has fewer quotes than are expected of it (see _plain), so their sum tells of each.
    if body.count(b'"') != QUOTES * len(events) + 2 * int(np.count_nonzero(told)) + 4 * typed:
        return None
    fuel_pct, latitude, longitude = told[:, FIELDS:].T
    unsound = (latitude != longitude) | (fuel_pct & told[:, FUEL_PLACE]) | ~told.any(axis=1)
    return None if len(events) > MAX_ITEMS or unsound.any() else (events, table)


def _plain(raw: bytes) -> PlainReading | None:
    """A reading with nothing strange about it; None when the item has to be looked at more closely."""
    try:
        event: PlainReading = decode_plain(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    said = _as_tuple(event.data)
    if None in said:
        said = tuple([UNSAID if value is None else value for value in said])
        event = msgspec.structs.replace(event, data=BoundedData(*said))
    quotes = QUOTES + 2 * (len(said) - said.count(UNSAID)) + (0 if event.datacontenttype is None else 4)
    # More quotes: a repeated key, a quantity, an explicit null, or an attribute that we do not read.
    if raw.count(b'"') != quotes and (any(type(value) is Quantity for value in said) or repeats_a_key(raw)):
        return None
    return event if _is_sound(said) else None


def _is_sound(said: tuple[Any, ...]) -> bool:
    """Whether a reading says something, half a position never, and its fuel once."""
    fuel_l, (fuel_pct, latitude, longitude) = said[FUEL_PLACE], said[FIELDS:]
    if (latitude is UNSAID) != (longitude is UNSAID) or (fuel_pct is not UNSAID and fuel_l is not UNSAID):
        return False
    return said.count(UNSAID) < len(said)


def _values(event: PlainReading) -> ReadingValues:
    said: tuple[Any, ...] = tuple([None if value is UNSAID else value for value in _as_tuple(event.data)])
    fuel_pct, latitude, longitude = said[FIELDS:]
    return ReadingValues(said[:FIELDS], fuel_pct, None if latitude is None else (latitude, longitude))


def _item(index: int, raw: bytes) -> Item:
    """An item that is not plain. *Raises* RecursionError or TooDeep."""
    if repeats_a_key(raw):
        return Item(index, raw, None, BadItem("duplicate-key", "A key stands twice in this item."))
    try:
        return Item(index, raw, decode_envelope(raw), None)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        return Item(index, raw, None, bad_value(error))


def first_content_hash(read: ReadingValues) -> int:
    """The hash that releases up to 0.1 stored: over the values as Python spells them."""
    spelled = repr((read.values, read.fuel_pct, read.position))
    return int.from_bytes(hashlib.blake2b(spelled.encode(), digest_size=8).digest(), "big", signed=True)


def read_values(item: Item) -> ReadingValues:
    """The values of a reading. *Raises* BadItem with a pointer into the item."""
    if item.values is not None:
        return item.values
    assert item.envelope is not None
    try:
        read: Any = decode_data(item.envelope.data)
    except (msgspec.DecodeError, RecursionError) as error:
        raise bad_value(error, under="/data") from error
    values = tuple(_value(field, getattr(read, field.name)) for field in READING_FIELDS)
    position = _position(read.latitude, read.longitude)
    fuel_pct = _in_range("fuel_pct", read.fuel_pct, 0, 100)
    if position is None and fuel_pct is None and all(value is None for value in values):
        raise BadItem("empty-reading", "A reading needs at least one value.", "/data")
    if fuel_pct is not None and getattr(read, "fuel_l", None) is not None:
        raise BadItem("bad-value", "Give fuel_l or fuel_pct, not both.", "/data/fuel_pct")
    return ReadingValues(values, fuel_pct, position)


def _value(field: ReadingField, value: float | bool | Quantity | None) -> float | bool | None:
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, Quantity):
        dimension = QUANTITY_DIMENSION.get(field.kind)
        if dimension is None:
            raise BadItem("bad-unit", "This value takes a plain number.", f"/data/{field.name}/unit")
        try:
            value = convert(value.value, value.unit, unit=dimension)
        except UnknownUnit as error:
            raise BadItem("bad-unit", str(error), f"/data/{field.name}/unit") from error
    return _in_range(field.name, value, field.low, field.high)


def _in_range(name: str, value: float | None, low: float, high: float) -> float | None:
    if value is None:
        return None
    if not low <= value <= high:
        raise BadItem("out-of-range", f"{value:g} is not from {low:g} to {high:g}.", f"/data/{name}")
    return float(value)


def _position(latitude: float | None, longitude: float | None) -> tuple[float, float] | None:
    if latitude is None and longitude is None:
        return None
    if latitude is None or longitude is None:
        raise BadItem("bad-value", "latitude and longitude go together.", "/data/latitude")
    _in_range("latitude", latitude, -90, 90)
    _in_range("longitude", longitude, -180, 180)
    return latitude, longitude


def bad_value(error: Exception, under: str = "") -> BadItem:
    """What a parser error says, with its path as a JSON Pointer."""
    words, _, path = str(error).partition(" - at `$")
    pointer = "".join(f"/{part}" for part in re.findall(r"\.([^.\[\]`]+)|\[(\d+)\]", path) for part in part if part)
    field = re.search(r"(?:required|unknown) field `([^`]+)`", words)
    if field:
        pointer += f"/{field.group(1)}"
    if not isinstance(error, msgspec.ValidationError):
        return BadItem("malformed-item", f"The item cannot be read: {words}.", under + pointer)
    return BadItem("bad-value", f"{words}.", under + pointer)


def micros_of(seconds: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    """The same times [µs since 1970], to the microsecond that was told."""
    micros: npt.NDArray[np.int64] = np.rint(seconds * 1e6).astype(np.int64)
    return micros


def in_utc(at: datetime) -> datetime:
    return at if at.tzinfo is UTC else at.astimezone(UTC)
