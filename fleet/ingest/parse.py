"""From the bytes of a CloudEvents batch to typed items, one by one: a bad item costs itself, not its neighbours.

An item is first read as what nearly all are, a reading with nothing strange about it, by one call of the decoder that
also checks all limits. What that refuses is read again slowly, which says what is wrong with it, or that nothing is.
Both ways give the same values and the same hash.
"""

from __future__ import annotations

import hashlib
import re
from datetime import UTC, datetime
from typing import Any

import msgspec

from fleet.http.parsers import MAX_DEPTH, MalformedBody, TooLarge
from fleet.http.quantities import UnknownUnit, convert
from fleet.ingest.fields import FIELD_NAMES, READING_FIELDS, Kind, ReadingField
from fleet.ingest.twins import TooDeep, repeats_a_key
from fleet.ingest.wire import (
    Envelope,
    PlainReading,
    Quantity,
    decode_batch,
    decode_data,
    decode_envelope,
    decode_plain,
)

MAX_ITEMS = 1000
FIELDS = len(READING_FIELDS)
FUEL_PLACE = FIELD_NAMES.index("fuel_l")
QUANTITY_DIMENSION = {Kind.TEMPERATURE: "c", Kind.VOLUME: "l", Kind.VOLTAGE: "v", Kind.HOURS: "h"}
QUOTES = 26
"""In a plain reading without data: seven names of attributes and six of their values."""
_as_tuple = msgspec.structs.astuple
_packed = msgspec.msgpack.Encoder().encode
_hash = hashlib.blake2b


class BadItem(ValueError):
    """One item cannot be taken; carries what quarantine will say."""

    def __init__(self, code: str, detail: str, pointer: str = "", *, retryable: bool = False) -> None:
        super().__init__(detail)
        self.code, self.detail, self.pointer, self.retryable = code, detail, pointer, retryable


class ReadingValues(msgspec.Struct, frozen=True, gc=False):
    """Values of one reading in our units, in the order of READING_FIELDS, with a hash of what was said."""

    values: tuple[float | bool | None, ...]
    fuel_pct: float | None
    position: tuple[float, float] | None
    content_hash: int


class Item(msgspec.Struct, frozen=True):
    """One item of a batch: its place, its bytes, its envelope when it could be read, and its values when plain."""

    index: int
    raw: bytes
    envelope: Envelope | PlainReading | None
    bad: BadItem | None
    values: ReadingValues | None = None


def split_batch(body: bytes) -> list[Item]:
    """The items of a batch. *Raises* MalformedBody or TooLarge."""
    try:
        raws = decode_batch(body)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError) as error:
        raise MalformedBody(f"The body is not a JSON array of events: {error}") from error
    if len(raws) > MAX_ITEMS:
        raise TooLarge(f"{len(raws)} events in one batch; at most {MAX_ITEMS} are taken.")
    # Without these two no text can hold a control character, and every quote ends or begins a string.
    tame = b"\\" not in body and b"\x7f" not in body
    return [_item(index, bytes(raw), tame=tame) for index, raw in enumerate(raws)]


def _item(index: int, raw: bytes, *, tame: bool) -> Item:
    try:
        if tame or (b"\\" not in raw and b"\x7f" not in raw):
            plain = _plain(index, raw)
            if plain is not None:
                return plain
        if repeats_a_key(raw):
            raise BadItem("duplicate-key", "A key stands twice in this item.")
        return Item(index, raw, decode_envelope(raw), None)
    except BadItem as bad:
        return Item(index, raw, None, bad)
    except (RecursionError, TooDeep):
        return Item(index, raw, None, BadItem("too-deep", f"A batch may be nested {MAX_DEPTH} deep."))
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        return Item(index, raw, None, bad_value(error))


def _plain(index: int, raw: bytes) -> Item | None:
    """A reading with nothing strange about it; None when the item has to be looked at more closely."""
    try:
        event = decode_plain(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    said = _as_tuple(event.data)
    values, more = said[:FIELDS], said[FIELDS:]
    quotes = QUOTES + 2 * (len(said) - said.count(None)) + (0 if event.datacontenttype is None else 4)
    # More quotes: a repeated key, a quantity, an explicit null, or an attribute that we do not read.
    if raw.count(b'"') != quotes and (any(type(value) is Quantity for value in values) or repeats_a_key(raw)):
        return None
    if more == (None, None, None):
        if values.count(None) == FIELDS:
            return None
        return Item(index, raw, event, None, ReadingValues(values, None, None, content_hash(values, None, None)))
    fuel_pct, latitude, longitude = more
    if (latitude is None) != (longitude is None) or (fuel_pct is not None and values[FUEL_PLACE] is not None):
        return None
    position = None if latitude is None else (latitude, longitude)
    return Item(
        index, raw, event, None, ReadingValues(values, fuel_pct, position, content_hash(values, fuel_pct, position))
    )


def content_hash(values: tuple[Any, ...], fuel_pct: float | None, position: tuple[float, float] | None) -> int:
    """Tells a repeat from a contradiction: 64 bits of BLAKE2b over the values as MessagePack."""
    digest = _hash(_packed((values, fuel_pct, position)), digest_size=8).digest()
    return int.from_bytes(digest, "big", signed=True)


def first_content_hash(read: ReadingValues) -> int:
    """The hash that releases up to 0.1 stored: over the values as Python spells them."""
    spelled = repr((read.values, read.fuel_pct, read.position))
    return int.from_bytes(_hash(spelled.encode(), digest_size=8).digest(), "big", signed=True)


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
    return ReadingValues(values, fuel_pct, position, content_hash(values, fuel_pct, position))


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


def in_utc(at: datetime) -> datetime:
    return at if at.tzinfo is UTC else at.astimezone(UTC)
