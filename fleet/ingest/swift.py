"""The readings that a live stream is made of: plain, newer than all of their unit, telling what its newest told.

What such readings do is known without reading anything: they are stored, and the newest of each unit replaces its
unit's newest group. So all of a batch go through as columns. One statement asks of each unit whether it is so, and does
it; nothing has to be looked up or locked before. Whatever is not such a reading goes the general way
(`fleet.ingest.taking`), which would come to the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from fleet.ingest.batch import Batch
from fleet.ingest.careful import FIELDS
from fleet.ingest.parse import micros_of
from fleet.ingest.readings import Rows, insert_readings
from fleet.ingest.values import FUEL_PCT, SAID, content_hashes, shapes_of
from fleet.ingest.wire import PlainReading
from fleet.packed import PLACES, pack_groups
from fleet.units.numbers import unit_ids
from fleet.units.told import Newest, move_newest

AHEAD = timedelta(minutes=10)
"""Clocks of machines may run this much fast."""
PLACED = [SAID.index(name) for name in PLACES]
"""The columns of a table of values that a unit's newest group keeps."""
Column = npt.NDArray[np.int64]


class Live(NamedTuple):
    """Readings that may be of that kind, by unit and then by time; all of a unit or none."""

    places: Column
    units: Column
    micros: Column
    shapes: Column

    def of(self, chosen: npt.NDArray[np.bool_]) -> Live:
        return Live(*(column[chosen] for column in self))


def take_newest(batch: Batch) -> list[int]:
    """Stores the readings of which this is true; the places of all other items, in their order."""
    count = len(batch.items)
    if batch.doubt:
        return list(range(count))
    live = _live(batch)
    if len(live.places):
        live = _move(batch, live)
    if len(live.places) == count:
        return []
    others: list[int] = np.setdiff1d(np.arange(count), live.places).tolist()
    return others


def _live(batch: Batch) -> Live:
    """What can be told without the database, but for ids that are not known yet."""
    items = batch.items
    subjects = ["" if event is None else event.subject for event in items.plain]
    if items.others:  # which of a unit's items came first may matter
        named = {head.subject for head in items.heads(items.others)}
        subjects = ["" if subject in named else subject for subject in subjects]
    units = np.array(unit_ids(batch.fleet_id, subjects), dtype=np.int64)
    fit = (units > 0) & (items.seconds <= (batch.now + AHEAD).timestamp())
    fit &= np.isnan(items.table[:, FUEL_PCT])  # per cent of the tank need a look at the tank
    seconds = np.where(fit, items.seconds, 0.0)
    places = np.lexsort((seconds, units))
    live = Live(places, units[places], micros_of(seconds[places]), shapes_of(items.table)[places])
    bad = ~(fit[places] & _in_turn(live))
    return live.of(~np.isin(live.units, live.units[bad])) if bad.any() else live


def _in_turn(live: Live) -> npt.NDArray[np.bool_]:
    """Whether each reading is the first of its unit, or later than the one before and of its shape."""
    fit = np.ones(len(live.places), dtype=np.bool_)
    later = (live.micros[1:] > live.micros[:-1]) & (live.shapes[1:] == live.shapes[:-1])
    fit[1:] = later | (live.units[1:] != live.units[:-1])
    return fit


def _move(batch: Batch, live: Live) -> Live:
    """Moves those units of which the database says it is true, and stores their readings, which are returned."""
    events = _events(batch, live.places)
    begins = np.flatnonzero(np.append(True, live.units[1:] != live.units[:-1]))
    ends = np.append(begins[1:], len(live.units)) - 1
    newest = [events[end] for end in ends.tolist()]
    told = Newest(
        ids=live.units[ends],
        numbers=[event.subject for event in newest],
        first=live.micros[begins],
        last=live.micros[ends],
        shapes=live.shapes[ends],
        groups=pack_groups(
            live.micros[ends],
            batch.items.table[np.ix_(live.places[ends], PLACED)],
            [event.source for event in newest],
        ),
    )
    names = {event.source for event in events}
    first = next(iter(names))
    moved, source_id = move_newest(batch.fleet_id, told, source=first, patience_ms=batch.patience_ms)
    if source_id is not None:
        batch.sources[first] = source_id
    if len(moved) < len(ends):
        live = live.of(np.isin(live.units, moved))
        events = _events(batch, live.places)
    if events:
        batch.find_sources(names)
        _store(batch, live, events)
        batch.touched.update(moved.tolist())
    return live


def _store(batch: Batch, live: Live, events: Sequence[PlainReading]) -> None:
    table = batch.items.table[live.places]
    known = batch.sources
    if len(known) == 1:  # nearly always
        sources = np.full(len(events), next(iter(known.values())))
    else:
        sources = np.array([known[event.source] for event in events])
    insert_readings(Rows(live.units, live.micros, sources, content_hashes(table), table[:, :FIELDS]))


def _events(batch: Batch, places: Column) -> list[PlainReading]:
    plain: Any = batch.items.plain
    return [plain[place] for place in places.tolist()]
