"""What an event looks like on the wire, as types that msgspec decodes and checks in one go."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Annotated, Any, Literal

import msgspec

from fleet.ingest.fields import READING_FIELDS, Kind, ReadingField

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


def _wire_type(field: ReadingField, *, bounded: bool) -> Any:
    if field.kind is Kind.FLAG:
        return bool | None
    return _number(field.low, field.high, bounded=bounded) | Quantity | None


def _number(low: float, high: float, *, bounded: bool) -> Any:
    return Annotated[float, msgspec.Meta(ge=low, le=high)] if bounded else float


def _data_type(name: str, *, bounded: bool, unsaid: float | None) -> Any:
    more = (("fuel_pct", 0, 100), ("latitude", -90, 90), ("longitude", -180, 180))
    return msgspec.defstruct(
        name,
        [(field.name, _wire_type(field, bounded=bounded), unsaid) for field in READING_FIELDS]
        + [(name, _number(low, high, bounded=bounded) | None, unsaid) for name, low, high in more],
        frozen=True,
        forbid_unknown_fields=True,
        omit_defaults=True,
        gc=False,
    )


ReadingData = _data_type("ReadingData", bounded=False, unsaid=None)
"""The values of a reading, their limits not yet checked: whatever is wrong is told with our own words."""
UNSAID = math.nan
BoundedData = _data_type("BoundedData", bounded=True, unsaid=UNSAID)
"""What was not said is UNSAID: a number for the table of values, and not written out. JSON has none like it."""


class PlainReading(msgspec.Struct, frozen=True, gc=False):
    """A reading whose limits are all checked by the decoder. What it refuses is read again with `Envelope`.

    Names have no pattern here, which costs more than all the rest: a control character needs a backslash in the
    text, or is U+007F, and texts with either are not read by this type (`fleet.ingest.parse`).
    """

    specversion: Literal["1.0"]
    id: Annotated[str, msgspec.Meta(min_length=1, max_length=200)]
    source: Annotated[str, msgspec.Meta(min_length=1, max_length=200)]
    type: Literal["unit.reading.v1"]
    subject: Annotated[str, msgspec.Meta(min_length=1, max_length=100)]
    time: Instant
    data: BoundedData  # type: ignore[valid-type]
    datacontenttype: str | None = None
    """Many senders name it, so it is counted like the others; its value says nothing to us."""


decode_batch = msgspec.json.Decoder(list[msgspec.Raw]).decode
decode_envelope = msgspec.json.Decoder(Envelope).decode
decode_data = msgspec.json.Decoder(ReadingData).decode
decode_plain = msgspec.json.Decoder(PlainReading).decode
decode_plain_batch = msgspec.json.Decoder(list[PlainReading]).decode
