"""The readings that a live stream is made of: plain, newer than all of their unit, telling what its newest told.

What such a reading does is known without reading anything: it is stored, and it replaces its unit's newest group. So a
batch of them goes through as columns. Whatever is not such a reading goes the general way (`fleet.ingest.taking`),
which would come to the same.
"""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import numpy as np

from fleet.ingest.batch import Batch
from fleet.ingest.parse import FIELDS, in_utc
from fleet.ingest.readings import Rows, insert_readings
from fleet.ingest.values import FUEL_PCT, content_hashes, shapes_of
from fleet.ingest.wire import PlainReading
from fleet.measured import newest_lines
from fleet.units.told import save_newest

AHEAD = timedelta(minutes=10)
"""Clocks of machines may run this much fast."""


def take_newest(batch: Batch) -> list[int]:
    """Stores the readings of which this is true; the places of all other items, in their order."""
    chosen = {} if batch.doubt else _newest(batch)
    if chosen:
        _store(batch, chosen)
    return [place for place in range(len(batch.items)) if place not in chosen]


def _newest(batch: Batch) -> dict[int, PlainReading]:
    items = batch.items
    units = [None if event is None else batch.units.get(event.subject) for event in items.plain]
    newest_s = np.array([None if unit is None else unit.newest_s for unit in units], dtype=np.float64)
    shapes = np.array([0 if unit is None else unit.shape for unit in units], dtype=np.int64)
    # What is not there is NaN, and no comparison with it is true.
    fit = (items.seconds > newest_s) & (items.seconds <= (batch.now + AHEAD).timestamp())
    fit &= shapes == np.array(shapes_of(items.table), dtype=np.int64)
    fit &= np.isnan(items.table[:, FUEL_PCT])  # per cent of the tank need a look at the tank
    chosen = {place: items.plain[place] for place in np.flatnonzero(fit).tolist()}
    repeated = _repeated(batch)
    return {place: event for place, event in chosen.items() if event is not None and event.subject not in repeated}


def _repeated(batch: Batch) -> set[str]:
    """Units that are named more than once: which of their readings came first may matter."""
    named = [head.subject for head in batch.items.heads()]
    if len(set(named)) == len(named):
        return set()
    return {subject for subject, times in Counter(named).items() if times > 1}


def _store(batch: Batch, chosen: dict[int, PlainReading]) -> None:
    events = list(chosen.values())
    table, seconds = batch.items.table, batch.items.seconds
    if len(chosen) < len(batch.items):
        table, seconds = table[list(chosen)], seconds[list(chosen)]
    units = [batch.units[event.subject].id for event in events]
    ats = [in_utc(event.time) for event in events]
    sources = [batch.sources[event.source] for event in events]
    insert_readings(Rows(units, ats, seconds, sources, content_hashes(table), table[:, :FIELDS]))
    save_newest(
        units, ats, newest_lines([(at, event.source, event.data) for at, event in zip(ats, events, strict=True)])
    )
    batch.touched.update(units)
