"""Takes a batch of events: one transaction, an answer per item, and a bell at the end."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec
from django.db import transaction

from fleet.bell import ASSESS_TASK, ring
from fleet.clock import stamp
from fleet.events import Handled, UnitEvent, handlers
from fleet.ingest.batch import Batch, BatchAnswer, ItemAnswer, open_batch
from fleet.ingest.fields import FIELD_NAMES
from fleet.ingest.parse import READING_TYPE, BadItem, Item, ReadingValues, bad_value, in_utc, read_values
from fleet.ingest.quarantine import quarantine
from fleet.ingest.readings import Key, NewReading, write_readings
from fleet.metrics import EVENT_LAG, EVENTS
from fleet.models import UnitState
from fleet.retry import on_conflict
from fleet.trips.due import make_due
from fleet.units.state import fold, save_states

logger = logging.getLogger(__name__)

OLDEST = datetime(2000, 1, 1, tzinfo=UTC)
"""Older is a clock that was never set; the API takes no older time anywhere."""
AHEAD = timedelta(minutes=10)
"""Clocks of machines may run this much fast."""
ASSESS_SOON = timedelta(seconds=1)
"""A burst of readings of one unit is one question: its trips wait so long for the rest of it, and so does the task
that the bell wakes (`fleet.tasks.LINGER`)."""


def ingest(fleet_id: int, items: Sequence[Item], *, now: datetime) -> BatchAnswer:
    """Stores a batch. Whatever is not stored is in quarantine, with why. *Raises* only when nothing was stored."""
    answer = on_conflict(lambda: _ingest_once(fleet_id, items, now))
    for status in ("duplicate", "late", "quarantined"):
        EVENTS.labels(outcome=status).inc(answer.count(status))
    EVENTS.labels(outcome="accepted").inc(answer.accepted - answer.count("late"))
    for item in items:
        if item.envelope is not None:
            EVENT_LAG.observe(max((now - item.envelope.time).total_seconds(), 0))
    return answer


def _ingest_once(fleet_id: int, items: Sequence[Item], now: datetime) -> BatchAnswer:
    with transaction.atomic():
        batch = open_batch(fleet_id, items, now)
        readings, others = _sort_out(batch)
        _take_readings(batch, readings)
        _run_handlers(batch, others)
        kept = quarantine(fleet_id, batch.outcasts, now=now) if batch.outcasts else {}
        touched = batch.touched | {outcast.unit_id for outcast in batch.outcasts if outcast.unit_id is not None}
        make_due(touched, at=now + ASSESS_SOON)
        if touched:
            ring(ASSESS_TASK)
    return _answer(batch, kept)


def _sort_out(
    batch: Batch,
) -> tuple[list[tuple[Item, int, ReadingValues]], dict[str, list[tuple[Item, UnitEvent]]]]:
    """Readings and, by type, events for handlers; everything that cannot be either goes to quarantine."""
    readings: list[tuple[Item, int, ReadingValues]] = []
    others: dict[str, list[tuple[Item, UnitEvent]]] = {}
    for item in batch.items:
        if item.envelope is None:
            batch.cast_out(item, item.bad or BadItem("malformed-item", "The item cannot be read."))
            continue
        unit_id = batch.units.get(item.envelope.subject, (None, None))[0]
        try:
            unit_id = _unit_of(batch, item)
            if item.envelope.type == READING_TYPE:
                readings.append((item, unit_id, read_values(item.envelope.data)))
            else:
                event = _event(item, unit_id)
                others.setdefault(event.type, []).append((item, event))
        except BadItem as bad:
            batch.cast_out(item, bad, unit_id)
    return readings, others


def _unit_of(batch: Batch, item: Item) -> int:
    assert item.envelope is not None
    if item.envelope.time < OLDEST:
        raise BadItem("time-too-old", f"Times before {OLDEST:%Y-%m-%d} are not taken.", "/time")
    if item.envelope.time > batch.now + AHEAD:
        ahead_s = (item.envelope.time - batch.now).total_seconds()
        raise BadItem("time-ahead", f"The event's time is {ahead_s:.0f} s ahead of ours.", "/time", retryable=True)
    found = batch.units.get(item.envelope.subject)
    if found is None:
        raise BadItem("unknown-unit", f"There is no unit {item.envelope.subject!r}.", "/subject", retryable=True)
    return found[0]


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


def _take_readings(batch: Batch, readings: Sequence[tuple[Item, int, ReadingValues]]) -> None:
    """Stores readings and moves the state of their units forward, field by field."""
    first: dict[Key, tuple[Item, ReadingValues]] = {}
    for item, unit_id, read in readings:
        assert item.envelope is not None
        try:
            read = _with_litres(batch, item, read)  # noqa: PLW2901 - the same reading, in our unit
        except BadItem as bad:
            batch.cast_out(item, bad, unit_id)
            continue
        key = (unit_id, in_utc(item.envelope.time), batch.sources[item.envelope.source])
        known = first.setdefault(key, (item, read))
        if known[0] is not item:
            if known[1].content_hash == read.content_hash:
                batch.duplicates.add(item.index)
            else:
                batch.cast_out(item, _contradiction(), unit_id)
    written = write_readings([NewReading(key, read.content_hash, read.values) for key, (_, read) in first.items()])
    changed: dict[int, UnitState] = {}
    for key, (item, read) in sorted(first.items(), key=lambda pair: (pair[0][0], pair[1][0].index)):
        if key in written.contradictions:
            batch.cast_out(item, _contradiction(), key[0])
        elif key in written.repeats:
            batch.duplicates.add(item.index)
        elif _move_state(batch, item, key, read):
            changed[key[0]] = batch.states[key[0]]
    save_states(list(changed.values()))
    batch.touched |= changed.keys()


def _with_litres(batch: Batch, item: Item, read: ReadingValues) -> ReadingValues:
    if read.fuel_pct is None:
        return read
    assert item.envelope is not None
    tank_l = batch.units[item.envelope.subject][1]
    if tank_l is None:
        raise BadItem(
            "no-tank", "fuel_pct needs a unit model that states its tank.", "/data/fuel_pct", retryable=True
        )  # fmt: skip
    values = list(read.values)
    values[FIELD_NAMES.index("fuel_l")] = round(tank_l * read.fuel_pct / 100, 3)
    return ReadingValues(tuple(values), None, read.position, read.content_hash)


def _contradiction() -> BadItem:
    return BadItem("contradiction", "A reading of this unit, time and source is stored with other values.", "/data")


def _move_state(batch: Batch, item: Item, key: Key, read: ReadingValues) -> bool:
    """Folds one new reading into its unit's state. False when everything in it was older than what is known."""
    assert item.envelope is not None
    unit_id, at, _ = key
    state, text, source = batch.states[unit_id], stamp(at), item.envelope.source
    named: list[tuple[str, Any]] = [
        (name, value) for name, value in zip(FIELD_NAMES, read.values, strict=True) if value is not None
    ]
    if read.position is not None:
        named.append(("position", list(read.position)))
    moved = [fold(state.values, name, value, at=text, source=source) for name, value in named]
    engine_h = read.values[FIELD_NAMES.index("engine_hours_h")]
    if engine_h is not None:
        moved.append(fold(state.facts, "fleet.first_engine_hours", engine_h, at=text, source=source))
    unit_on = read.values[FIELD_NAMES.index("unit_on")]
    if unit_on is not None:
        moved.append(fold(state.facts, "fleet.last_on" if unit_on else "fleet.first_off", True, at=text, source=source))
    if state.newest_at is not None and at < state.newest_at:
        batch.late.add(item.index)
    else:
        state.newest_at = at
    return any(moved) or state.newest_at == at


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
    ids = {item.index: item.envelope.id if item.envelope else "" for item in batch.items}
    items = [ItemAnswer(index, ids[index], "duplicate") for index in batch.duplicates]
    items += [ItemAnswer(index, ids[index], "late") for index in batch.late - batch.duplicates]
    for outcast in batch.outcasts:
        index, bad = outcast.item.index, outcast.bad
        items.append(
            ItemAnswer(
                index,
                ids[index],
                "quarantined",
                bad.code,
                bad.detail,
                bad.pointer,
                bad.retryable,
                kept[index],
            )
        )
    return BatchAnswer(received=len(batch.items), items=sorted(items, key=lambda answer: answer.index))
