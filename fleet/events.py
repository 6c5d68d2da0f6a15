"""Extension point 1: who handles which type of event, from the wire and from inside.

A handler gets all events of its type of one batch, inside the ingest transaction and its own savepoint, after readings
and unit state were written. What it refuses goes to quarantine with its words; if it raises, its events go there as
retryable and the rest of the batch is not touched.

What one app finds about a unit and another keeps a record of travels as an internal event. No wire reaches its
handlers: ingest looks for handlers of events only, so an event posted under an internal type is of unknown type.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fleet.registry import Registry


@dataclass(frozen=True, slots=True)
class UnitEvent:
    """One event of a known unit, parsed by the handler's `schema`."""

    index: int
    id: str
    source: str
    type: str
    unit_id: int
    unit_number: str
    at: datetime
    data: Any


@dataclass(frozen=True, slots=True)
class Refused:
    """Why one event was not taken: it goes to quarantine with these words."""

    index: int
    code: str
    detail: str
    pointer: str = ""
    retryable: bool = False


@dataclass(frozen=True, slots=True)
class Handled:
    """What a handler made of its events: indexes that repeat what was known, and refusals."""

    duplicates: frozenset[int] = frozenset()
    refused: tuple[Refused, ...] = ()


@dataclass(frozen=True, slots=True)
class EventHandler:
    """A type of event and what to do with it."""

    id: str
    schema: type
    handle: Callable[[int, Sequence[UnitEvent], datetime], Handled]
    """Called with (fleet id, events of this type in batch order, now)."""
    voids_unit_data: bool = True
    """A refused event of this type makes the unit's record incomplete until someone looks at it."""


handlers: Registry[EventHandler] = Registry("event handlers")


@dataclass(frozen=True, slots=True)
class Found:
    """Something an app found about a unit, or found to be over; `code` names it, `text` explains it to a person."""

    unit_id: int
    at: datetime
    code: str
    there: bool
    text: str = ""


@dataclass(frozen=True, slots=True)
class InternalHandler:
    """A type of internal event and what to do with it."""

    id: str
    handle: Callable[[int, Sequence[Found], datetime], None]
    """Called with (fleet id, findings, now), inside the teller's transaction and with the units' states locked."""


internal_handlers: Registry[InternalHandler] = Registry("handlers of internal events")
LEARNED_TYPE = "unit.learned.v1"
"""What learning found in a unit's readings."""


def tell(type_id: str, fleet_id: int, findings: Sequence[Found], *, now: datetime) -> None:
    """Hands findings to the handler of their type. Call inside a transaction that holds the units' state locks.

    *Raises* KeyError when nobody handles the type: a finding that nobody keeps must not pass for a record.
    """
    handler = internal_handlers[type_id]
    if findings:
        handler.handle(fleet_id, findings, now)
