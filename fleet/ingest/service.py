"""Takes a batch of events: one transaction, an answer per item, and a bell at the end."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec
from django.db import IntegrityError, OperationalError, transaction

from fleet.bell import ASSESS_TASK, ring
from fleet.events import Handled, UnitEvent, handlers
from fleet.ingest.batch import Batch, BatchAnswer, ItemAnswer
from fleet.ingest.careful import BadItem, bad_value
from fleet.ingest.parse import Item, Split, in_utc, read_values
from fleet.ingest.quarantine import quarantine
from fleet.ingest.swift import AHEAD, take_newest
from fleet.ingest.taking import Arrival, take_readings
from fleet.ingest.wire import READING_TYPE
from fleet.metrics import EVENT_LAG, EVENTS
from fleet.retry import is_taken, on_conflict
from fleet.trips.due import make_due

logger = logging.getLogger(__name__)

OLDEST = datetime(2000, 1, 1, tzinfo=UTC)
"""Older is a clock that was never set; the API takes no older time anywhere."""
ASSESS_SOON = timedelta(seconds=1)
"""A burst of readings of one unit is one question: its trips wait so long for the rest of it, and so does the task
that the bell wakes (`fleet.tasks.LINGER`)."""


def ingest(fleet_id: int, items: Split, *, now: datetime) -> BatchAnswer:
    """Stores a batch. Whatever is not stored is in quarantine, with why. *Raises* only when nothing was stored."""
    answer = on_conflict(lambda: _ingest(fleet_id, items, now))
    for status in ("duplicate", "late", "quarantined"):
        EVENTS.labels(outcome=status).inc(answer.count(status))
    EVENTS.labels(outcome="accepted").inc(answer.accepted - answer.count("late"))
    EVENT_LAG.observe_all(items.ages_s(now))
    return answer


def _ingest(fleet_id: int, items: Split, now: datetime) -> BatchAnswer:
    try:
        return _ingest_once(Batch(fleet_id, now, items))
    except IntegrityError as error:
        logger.warning("Readings are stored that are newer than their unit's state; all are looked up: %s", error)
        return _ingest_once(Batch(fleet_id, now, items, in_turn=True, doubt=True))
    except OperationalError as error:
        if not is_taken(error):
            raise
        return _ingest_once(Batch(fleet_id, now, items, in_turn=True))


def _ingest_once(batch: Batch) -> BatchAnswer:
    """Takes the live readings without locking anything before, then all others.

    That locks units in no order, so two batches could wait for each other: this way does not wait long
    (`move_newest`). Where it would have to, the batch lets go of all and comes again *in turn*.
    """
    with transaction.atomic():
        if batch.in_turn:
            batch.look_up(range(len(batch.items)))
        places = take_newest(batch)
        if places and not batch.in_turn:
            batch.look_up(places)
        readings, others = _sort_out(batch, places)
        take_readings(batch, readings)
        _run_handlers(batch, others)
        kept = quarantine(batch.fleet_id, batch.outcasts, now=batch.now) if batch.outcasts else {}
        touched = batch.touched | {outcast.unit_id for outcast in batch.outcasts if outcast.unit_id is not None}
        make_due(touched, at=batch.now + ASSESS_SOON, fleet_id=batch.fleet_id)
        if touched:
            ring(ASSESS_TASK)
    return _answer(batch, kept)


def _sort_out(batch: Batch, places: Sequence[int]) -> tuple[list[Arrival], dict[str, list[tuple[Item, UnitEvent]]]]:
    """Readings and, by type, events for handlers; everything that cannot be either goes to quarantine."""
    readings: list[Arrival] = []
    others: dict[str, list[tuple[Item, UnitEvent]]] = {}
    latest = batch.now + AHEAD
    for place in places:
        item: Item = batch.items[place]
        envelope = item.envelope
        if envelope is None:
            batch.cast_out(item, item.bad or BadItem("malformed-item", "The item cannot be read."))
            continue
        unit = batch.units.get(envelope.subject)
        try:
            if unit is None or not OLDEST <= envelope.time <= latest:
                raise _misplaced(batch, item)
            if envelope.type == READING_TYPE:
                readings.append((item, unit, read_values(item)))
            else:
                event = _event(item, unit)
                others.setdefault(event.type, []).append((item, event))
        except BadItem as bad:
            batch.cast_out(item, bad, unit)
    return readings, others


def _misplaced(batch: Batch, item: Item) -> BadItem:
    """Why an event's time or unit cannot be taken."""
    assert item.envelope is not None
    if item.envelope.time < OLDEST:
        return BadItem("time-too-old", f"Times before {OLDEST:%Y-%m-%d} are not taken.", "/time")
    if item.envelope.time > batch.now + AHEAD:
        ahead_s = (item.envelope.time - batch.now).total_seconds()
        return BadItem("time-ahead", f"The event's time is {ahead_s:.0f} s ahead of ours.", "/time", retryable=True)
    return BadItem("unknown-unit", f"There is no unit {item.envelope.subject!r}.", "/subject", retryable=True)


def _event(item: Item, unit_id: int) -> UnitEvent:
    assert item.envelope is not None
    handler = handlers.get(item.envelope.type)
    if handler is None:
        raise BadItem("unknown-type", f"Events of type {item.envelope.type!r} are not taken.", "/type")
    try:
        data: Any = msgspec.json.decode(item.envelope.data, type=handler.schema)
    except (msgspec.DecodeError, RecursionError) as error:
        raise bad_value(error, under="/data") from error
    return UnitEvent(
        index=item.index,
        id=item.envelope.id,
        source=item.envelope.source,
        type=item.envelope.type,
        unit_id=unit_id,
        unit_number=item.envelope.subject,
        at=in_utc(item.envelope.time),
        data=data,
    )


def _run_handlers(batch: Batch, others: dict[str, list[tuple[Item, UnitEvent]]]) -> None:
    """Runs each type's handler in its own savepoint. One that raises costs its own events, kept for a retry."""
    for type_id in sorted(others):
        handler = handlers[type_id]
        pairs = others[type_id]
        items = {event.index: (item, event.unit_id) for item, event in pairs}
        try:
            with transaction.atomic():
                handled = handler.handle(batch.fleet_id, [event for _, event in pairs], batch.now)
        except Exception:
            logger.exception("The handler of %s failed for %s events", type_id, len(pairs))
            for item, event in pairs:
                bad = BadItem("handler-failed", "This event could not be processed; try it again.", retryable=True)
                batch.cast_out(item, bad, event.unit_id)
            continue
        _note(batch, handled, items)


def _note(batch: Batch, handled: Handled, items: dict[int, tuple[Item, int]]) -> None:
    refused = {refusal.index for refusal in handled.refused}
    for refusal in handled.refused:
        item, unit_id = items[refusal.index]
        bad = BadItem(refusal.code, refusal.detail, refusal.pointer, retryable=refusal.retryable)
        batch.cast_out(item, bad, unit_id)
    batch.duplicates |= handled.duplicates
    batch.touched |= {
        unit_id for index, (_, unit_id) in items.items() if index not in refused and index not in handled.duplicates
    }


def _answer(batch: Batch, kept: dict[int, int]) -> BatchAnswer:
    items = [ItemAnswer(index, batch.items.id_of(index), "duplicate") for index in batch.duplicates]
    items += [ItemAnswer(index, batch.items.id_of(index), "late") for index in batch.late - batch.duplicates]
    for outcast in batch.outcasts:
        index, bad = outcast.item.index, outcast.bad
        items.append(
            ItemAnswer(
                index,
                batch.items.id_of(index),
                "quarantined",
                bad.code,
                bad.detail,
                bad.pointer,
                bad.retryable,
                kept[index],
            )
        )
    return BatchAnswer(received=len(batch.items), items=sorted(items, key=lambda answer: answer.index))
