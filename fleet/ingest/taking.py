"""Takes the readings of a batch: which are new, which repeat or contradict, and what the new ones tell of units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from fleet.ingest.batch import Batch
from fleet.ingest.careful import FUEL_PLACE, BadItem, ReadingValues, first_content_hash
from fleet.ingest.fields import FIELD_NAMES
from fleet.ingest.parse import Item, in_utc, micros_of
from fleet.ingest.readings import Key, Rows, insert_readings, known_hashes
from fleet.ingest.values import content_hashes, table_of
from fleet.measured import stored_form
from fleet.units.told import Document, read_documents, save_documents

Arrival = tuple[Item, int, ReadingValues]
"""With the id of its unit."""


class New(NamedTuple):
    """A reading that may be stored, beside what readings told of its unit."""

    key: Key
    item: Item
    read: ReadingValues
    content_hash: int
    document: Document


def take_readings(batch: Batch, arrivals: Sequence[Arrival]) -> None:
    """Stores readings and moves the state of their units forward, field by field."""
    if not arrivals:
        return
    documents = read_documents({unit for _, unit, _ in arrivals})
    new = _unknown(batch, _each_once(batch, arrivals, documents))
    rows: list[tuple[float | bool | None, ...]] = []
    moved: set[int] = set()
    for key, item, read, _, document in new:
        values = read.values if read.fuel_pct is None else _litres(document, read)
        rows.append(values)
        newest_at = document.measured.newest_at
        if newest_at is not None and key[1] < newest_at:
            batch.late.add(item.index)
        assert item.envelope is not None
        if document.measured.take(key[1], item.envelope.source, _named(values, read.position)):
            moved.add(key[0])
    _insert([one.key for one in new], [one.content_hash for one in new], rows)
    save_documents([(unit_id, stored_form(documents[unit_id].measured)) for unit_id in sorted(moved)])
    batch.touched |= moved


def _insert(keys: Sequence[Key], hashes: Sequence[int], values: Sequence[tuple[float | bool | None, ...]]) -> None:
    if keys:
        micros = micros_of(np.array([at.timestamp() for _, at, _ in keys]))
        units, sources = (np.array([key[place] for key in keys]) for place in (0, 2))
        insert_readings(Rows(units, micros, sources, np.array(hashes), np.array(values, dtype=np.float64)))


def _each_once(batch: Batch, arrivals: Sequence[Arrival], documents: dict[int, Document]) -> list[New]:
    """Each key of the batch once, by key; later items of the same key repeat the first or contradict it."""
    first: dict[Key, New] = {}
    hashes: list[int] = content_hashes(table_of([read.said for _, _, read in arrivals])).tolist()
    for (item, unit, read), content_hash in zip(arrivals, hashes, strict=True):
        document = documents[unit]
        if read.fuel_pct is not None and document.tank_l is None:
            batch.cast_out(item, _no_tank(), unit)
            continue
        assert item.envelope is not None
        key = (unit, in_utc(item.envelope.time), batch.sources[item.envelope.source])
        known = first.get(key)
        if known is None:
            first[key] = New(key, item, read, content_hash, document)
        elif known.content_hash == content_hash:
            batch.duplicates.add(item.index)
        else:
            batch.cast_out(item, _contradiction(), unit)
    return [first[key] for key in sorted(first)]


def _unknown(batch: Batch, arrivals: list[New]) -> list[New]:
    """Those that are not stored yet.

    A reading newer than all of its unit is new: the state's newest time is that of the stored ones, and the state is
    locked. Only what is not newer has to be looked up. Where that turned out to be untrue (rows were restored beside
    the service), the batch comes again with `doubt` and everything is looked up.
    """
    known = known_hashes([arrival.key for arrival in arrivals if batch.doubt or _may_be_known(arrival)])
    if not known:
        return arrivals
    new = []
    for arrival in arrivals:
        stored = known.get(arrival.key)
        if stored is None:
            new.append(arrival)
        elif stored in (arrival.content_hash, first_content_hash(arrival.read)):
            batch.duplicates.add(arrival.item.index)
        else:
            batch.cast_out(arrival.item, _contradiction(), arrival.key[0])
    return new


def _may_be_known(arrival: New) -> bool:
    newest_at = arrival.document.measured.newest_at
    return newest_at is not None and arrival.key[1] <= newest_at


def _named(values: tuple[float | bool | None, ...], position: tuple[float, float] | None) -> dict[str, Any]:
    named: dict[str, Any] = {name: value for name, value in zip(FIELD_NAMES, values, strict=True) if value is not None}
    if position is not None:
        named["position"] = list(position)
    return named


def _litres(document: Document, read: ReadingValues) -> tuple[float | bool | None, ...]:
    """The values with the fuel in litres where it was told in per cent of the tank."""
    assert document.tank_l is not None
    assert read.fuel_pct is not None
    litres = round(document.tank_l * read.fuel_pct / 100, 3)
    return (*read.values[:FUEL_PLACE], litres, *read.values[FUEL_PLACE + 1 :])


def _no_tank() -> BadItem:
    return BadItem(
        "no-tank", "fuel_pct needs a unit model that states its tank.", "/data/fuel_pct", retryable=True
    )  # fmt: skip


def _contradiction() -> BadItem:
    return BadItem("contradiction", "A reading of this unit, time and source is stored with other values.", "/data")
