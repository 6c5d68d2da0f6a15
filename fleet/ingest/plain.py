"""The swift way to read: readings with nothing strange about them, by a type that also checks limits.

What it refuses is not wrong because of that; the careful way (`fleet.ingest.careful`) says. That no key stands twice is
seen by counting quotes: what a text has more of than is expected of the values in it came from something else.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Any

import msgspec
import numpy as np
from msgspec.structs import astuple as as_tuple

from fleet.ingest.careful import FIELDS, FUEL_PLACE, BadItem, ReadingValues, plain_value
from fleet.ingest.fields import READING_FIELDS
from fleet.ingest.twins import repeats_a_key
from fleet.ingest.values import Table, table_of_wire
from fleet.ingest.wire import UNSAID, BoundedData, PlainReading, Quantity, decode_plain, decode_plain_batch

QUOTE = ord('"')
QUOTES = 26
"""In a plain reading without data: seven names of attributes and six of their values."""
OF_A_VALUE, OF_A_QUANTITY = 2, 8
"""A value has its name; a quantity two more names and its unit."""


def read_batch(body: bytes) -> tuple[Sequence[PlainReading], Table] | None:
    """All items of a body without a backslash, if all are plain readings; None when they have to be looked at."""
    try:
        events: list[PlainReading] = decode_plain_batch(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    more = 0
    try:
        table = table_of_wire([event.data for event in events])
    except struct.error:
        try:
            settled = [_settled(event) for event in events]
        except BadItem:
            return None
        events, more = [event for event, _ in settled], sum(quotes for _, quotes in settled)
        table = table_of_wire([event.data for event in events])
    typed = sum(event.datacontenttype is not None for event in events)
    told = ~np.isnan(table)
    # No item has fewer quotes than are expected of it, so their sum tells of each.
    expected = QUOTES * len(events) + OF_A_VALUE * np.count_nonzero(told) + 4 * typed + more
    if np.count_nonzero(np.frombuffer(body, dtype=np.uint8) == QUOTE) != expected:
        return None
    fuel_pct, latitude, longitude = told[:, FIELDS:].T
    unsound = (latitude != longitude) | (fuel_pct & told[:, FUEL_PLACE]) | ~told.any(axis=1)
    return None if unsound.any() else (events, table)


def read_one(raw: bytes) -> PlainReading | None:
    """A reading with nothing strange about it; None when the item has to be looked at more closely."""
    try:
        event, more = _settled(decode_plain(raw))
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, BadItem):
        return None
    said = as_tuple(event.data)
    expected = QUOTES + OF_A_VALUE * (len(said) - said.count(UNSAID)) + more
    if event.datacontenttype is not None:
        expected += 4
    # More quotes: a repeated key, or an attribute that we do not read.
    if raw.count(b'"') != expected and repeats_a_key(raw):
        return None
    return event if _is_sound(said) else None


def _settled(event: PlainReading) -> tuple[PlainReading, int]:
    """The event with plain numbers only, and the quotes it has beyond those of these. *Raises* BadItem."""
    said = list(as_tuple(event.data))
    more = 0
    for place, value in enumerate(said):
        if value is None:
            said[place] = UNSAID
            more += OF_A_VALUE
        elif type(value) is Quantity:
            said[place] = plain_value(READING_FIELDS[place], value)
            more += OF_A_QUANTITY - OF_A_VALUE
    return (msgspec.structs.replace(event, data=BoundedData(*said)), more) if more else (event, 0)


def _is_sound(said: Sequence[Any]) -> bool:
    """Whether a reading says something, half a position never, and its fuel once."""
    fuel_l, (fuel_pct, latitude, longitude) = said[FUEL_PLACE], said[FIELDS:]
    if (latitude is UNSAID) != (longitude is UNSAID) or (fuel_pct is not UNSAID and fuel_l is not UNSAID):
        return False
    return said.count(UNSAID) < len(said)


def values_of(event: PlainReading) -> ReadingValues:
    """The same as the careful way gives it."""
    said: tuple[Any, ...] = tuple([None if value is UNSAID else value for value in as_tuple(event.data)])
    fuel_pct, latitude, longitude = said[FIELDS:]
    return ReadingValues(said[:FIELDS], fuel_pct, None if latitude is None else (latitude, longitude))
