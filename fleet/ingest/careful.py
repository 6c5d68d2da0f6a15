"""The careful way to read an item: whatever is wrong with it is said in our own words, and with a pointer to it."""

from __future__ import annotations

import hashlib
import re
from typing import Any

import msgspec

from fleet.http.quantities import UnknownUnit, convert
from fleet.ingest.fields import FIELD_NAMES, READING_FIELDS, Kind, ReadingField
from fleet.ingest.wire import Envelope, Quantity, decode_data

FIELDS = len(READING_FIELDS)
FUEL_PLACE = FIELD_NAMES.index("fuel_l")
QUANTITY_DIMENSION = {Kind.TEMPERATURE: "c", Kind.VOLUME: "l", Kind.VOLTAGE: "v", Kind.HOURS: "h"}


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


def read_data(envelope: Envelope) -> ReadingValues:
    """The values of a reading. *Raises* BadItem with a pointer into the item."""
    try:
        read: Any = decode_data(envelope.data)
    except (msgspec.DecodeError, RecursionError) as error:
        raise bad_value(error, under="/data") from error
    values = tuple(plain_value(field, getattr(read, field.name)) for field in READING_FIELDS)
    position = _position(read.latitude, read.longitude)
    fuel_pct = _in_range("fuel_pct", read.fuel_pct, 0, 100)
    if position is None and fuel_pct is None and all(value is None for value in values):
        raise BadItem("empty-reading", "A reading needs at least one value.", "/data")
    if fuel_pct is not None and getattr(read, "fuel_l", None) is not None:
        raise BadItem("bad-value", "Give fuel_l or fuel_pct, not both.", "/data/fuel_pct")
    return ReadingValues(values, fuel_pct, position)


def plain_value(field: ReadingField, value: float | bool | Quantity | None) -> float | bool | None:
    """A value as it is stored. *Raises* BadItem where its unit is not known or it breaks the field's limits."""
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


def first_content_hash(read: ReadingValues) -> int:
    """The hash that releases up to 0.1 stored: over the values as Python spells them."""
    spelled = repr((read.values, read.fuel_pct, read.position))
    return int.from_bytes(hashlib.blake2b(spelled.encode(), digest_size=8).digest(), "big", signed=True)
