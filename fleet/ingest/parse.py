"""From the bytes of a CloudEvents batch to typed items, one by one: a bad item costs itself, not its neighbours."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

import msgspec

from fleet.http.parsers import MAX_DEPTH, MalformedBody, TooLarge
from fleet.http.quantities import UnknownUnit, convert
from fleet.ingest.fields import READING_FIELDS, Kind, ReadingField

MAX_ITEMS = 1000
READING_TYPE = "unit.reading.v1"

PRINTABLE = r"^[^\x00-\x1f\x7f]+\Z"
"""No control characters, not even a line break at the end; PostgreSQL cannot hold U+0000 at all."""
Name = Annotated[str, msgspec.Meta(min_length=1, max_length=200, pattern=PRINTABLE)]
ShortName = Annotated[str, msgspec.Meta(min_length=1, max_length=100, pattern=PRINTABLE)]
Instant = Annotated[datetime, msgspec.Meta(tz=True)]


class Envelope(msgspec.Struct, frozen=True):
    """The CloudEvents 1.0 attributes we read. Extension attributes are allowed by that standard and ignored."""

    specversion: Literal["1.0"]
    id: Name
    source: Name
    type: ShortName
    subject: ShortName
    time: Instant
    data: msgspec.Raw


class Quantity(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A number with its unit, in place of a plain number in the field's own unit."""

    value: float
    unit: str


def _wire_type(field: ReadingField) -> Any:
    return bool | None if field.kind is Kind.FLAG else float | Quantity | None


ReadingData = msgspec.defstruct(
    "ReadingData",
    [(field.name, _wire_type(field), None) for field in READING_FIELDS]
    + [("fuel_pct", float | None, None), ("latitude", float | None, None), ("longitude", float | None, None)],
    frozen=True,
    forbid_unknown_fields=True,
)

QUANTITY_DIMENSION = {Kind.TEMPERATURE: "c", Kind.VOLUME: "l", Kind.VOLTAGE: "v", Kind.HOURS: "h"}
_envelopes = msgspec.json.Decoder(Envelope)
_readings = msgspec.json.Decoder(ReadingData)
_batches = msgspec.json.Decoder(list[msgspec.Raw])


class BadItem(ValueError):
    """One item cannot be taken; carries what quarantine will say."""

    def __init__(self, code: str, detail: str, pointer: str = "", *, retryable: bool = False) -> None:
        super().__init__(detail)
        self.code, self.detail, self.pointer, self.retryable = code, detail, pointer, retryable


@dataclass(frozen=True, slots=True)
class Item:
    """One item of a batch: its place, its bytes, and its envelope when it could be read."""

    index: int
    raw: bytes
    envelope: Envelope | None
    bad: BadItem | None


@dataclass(frozen=True, slots=True)
class ReadingValues:
    """Values of one reading in our units, in the order of READING_FIELDS, with a hash of what was said."""

    values: tuple[float | bool | None, ...]
    fuel_pct: float | None
    position: tuple[float, float] | None
    content_hash: int


def split_batch(body: bytes) -> list[Item]:
    """The items of a batch. *Raises* MalformedBody or TooLarge."""
    try:
        raws = _batches.decode(body)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError) as error:
        raise MalformedBody(f"The body is not a JSON array of events: {error}") from error
    if len(raws) > MAX_ITEMS:
        raise TooLarge(f"{len(raws)} events in one batch; at most {MAX_ITEMS} are taken.")
    return [_item(index, bytes(raw)) for index, raw in enumerate(raws)]


def _item(index: int, raw: bytes) -> Item:
    try:
        if _repeats_a_key(raw):
            raise BadItem("duplicate-key", "A key stands twice in this item.")
        return Item(index, raw, _envelopes.decode(raw), None)
    except BadItem as bad:
        return Item(index, raw, None, bad)
    except RecursionError:
        return Item(index, raw, None, _too_deep())
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        return Item(index, raw, None, bad_value(error))


def _too_deep() -> BadItem:
    return BadItem("too-deep", f"A batch may be nested {MAX_DEPTH} deep.")


def read_values(data: msgspec.Raw) -> ReadingValues:
    """The values of a reading. *Raises* BadItem with a pointer into the item."""
    try:
        read: Any = _readings.decode(data)
    except (msgspec.DecodeError, RecursionError) as error:
        raise bad_value(error, under="/data") from error
    values = tuple(_value(field, getattr(read, field.name)) for field in READING_FIELDS)
    position = _position(read.latitude, read.longitude)
    fuel_pct = _in_range("fuel_pct", read.fuel_pct, 0, 100)
    if position is None and fuel_pct is None and all(value is None for value in values):
        raise BadItem("empty-reading", "A reading needs at least one value.", "/data")
    if fuel_pct is not None and getattr(read, "fuel_l", None) is not None:
        raise BadItem("bad-value", "Give fuel_l or fuel_pct, not both.", "/data/fuel_pct")
    digest = hashlib.blake2b(repr((values, fuel_pct, position)).encode(), digest_size=8).digest()
    return ReadingValues(values, fuel_pct, position, int.from_bytes(digest, "big", signed=True))


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


def _repeats_a_key(raw: bytes) -> bool:
    """Whether an object in the item names a key twice. Parsers keep the last one silently.

    Counting quotes of what was kept tells almost always that nothing was lost; only when the counts differ (an
    escape, or a real repeat) is the item read again with every pair seen.
    """
    try:
        kept = msgspec.json.decode(raw)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return False
    if 2 * _strings(kept, 2) == raw.count(b'"'):
        return False
    try:
        json.loads(raw, object_pairs_hook=_refuse_repeats)
    except _Repeat:
        return True
    return False


class _Repeat(ValueError):
    pass


def _refuse_repeats(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    seen: dict[str, Any] = {}
    for key, value in pairs:
        if key in seen:
            raise _Repeat(key)
        seen[key] = value
    return seen


def _strings(value: Any, depth: int) -> int:
    """How many strings a value holds, names included. *Raises* BadItem when it is nested deeper than bodies may be."""
    if isinstance(value, str):
        return 1
    if not isinstance(value, dict | list):
        return 0
    if depth > MAX_DEPTH:
        raise _too_deep()
    parts = value.values() if isinstance(value, dict) else value
    names = len(value) if isinstance(value, dict) else 0
    return names + sum(_strings(part, depth + 1) for part in parts if isinstance(part, str | dict | list))


def in_utc(at: datetime) -> datetime:
    return at.astimezone(UTC)
