"""Takes the readings of a batch: which are new, which repeat or contradict, and what the new ones tell of units."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from fleet.ingest.batch import Batch
from fleet.ingest.fields import FIELD_NAMES
from fleet.ingest.parse import FUEL_PLACE, BadItem, Item, ReadingValues, first_content_hash, in_utc
from fleet.ingest.readings import Key, Row, insert_readings, known_hashes
from fleet.units.state import LockedUnit, save_measured

Arrival = tuple[Item, LockedUnit, ReadingValues]
New = tuple[Key, Item, LockedUnit, ReadingValues]


def take_readings(batch: Batch, arrivals: Sequence[Arrival]) -> None:
    """Stores readings and moves the state of their units forward, field by field."""
    new = _unknown(batch, _each_once(batch, arrivals))
    rows: list[Row] = []
    moved: dict[int, LockedUnit] = {}
    for key, item, unit, read in new:
        values = read.values if read.fuel_pct is None else _litres(unit, read)
        rows.append((*key, read.content_hash, *values))
        newest_at = unit.measured.newest_at
        if newest_at is not None and key[1] < newest_at:
            batch.late.add(item.index)
        assert item.envelope is not None
        if unit.measured.take(key[1], item.envelope.source, _named(values, read.position)):
            moved[unit.id] = unit
    insert_readings(rows)
    save_measured(list(moved.values()))
    batch.touched |= moved.keys()


def _each_once(batch: Batch, arrivals: Sequence[Arrival]) -> list[New]:
    """Each key of the batch once, by key; later items of the same key repeat the first or contradict it."""
    first: dict[Key, New] = {}
    for item, unit, read in arrivals:
        if read.fuel_pct is not None and unit.tank_l is None:
            batch.cast_out(item, _no_tank(), unit.id)
            continue
        assert item.envelope is not None
        key = (unit.id, in_utc(item.envelope.time), batch.sources[item.envelope.source])
        known = first.get(key)
        if known is None:
            first[key] = (key, item, unit, read)
        elif known[3].content_hash == read.content_hash:
            batch.duplicates.add(item.index)
        else:
            batch.cast_out(item, _contradiction(), unit.id)
    return [first[key] for key in sorted(first)]


def _unknown(batch: Batch, arrivals: list[New]) -> list[New]:
    """Those that are not stored yet.

    A reading newer than all of its unit is new: the state's newest time is that of the stored ones, and the state is
    locked. Only what is not newer has to be looked up, which for a live stream is nothing. Where that turned out to be
    untrue (rows were restored beside the service), the batch comes again with `doubt` and everything is looked up.
    """
    known = known_hashes([key for key, _, unit, _ in arrivals if batch.doubt or _may_be_known(unit, key[1])])
    if not known:
        return arrivals
    new = []
    for arrival in arrivals:
        key, item, unit, read = arrival
        stored = known.get(key)
        if stored is None:
            new.append(arrival)
        elif stored in (read.content_hash, first_content_hash(read)):
            batch.duplicates.add(item.index)
        else:
            batch.cast_out(item, _contradiction(), unit.id)
    return new


def _may_be_known(unit: LockedUnit, at: datetime) -> bool:
    newest_at = unit.measured.newest_at
    return newest_at is not None and at <= newest_at


def _named(values: tuple[float | bool | None, ...], position: tuple[float, float] | None) -> dict[str, Any]:
    named: dict[str, Any] = {name: value for name, value in zip(FIELD_NAMES, values, strict=True) if value is not None}
    if position is not None:
        named["position"] = list(position)
    return named


def _litres(unit: LockedUnit, read: ReadingValues) -> tuple[float | bool | None, ...]:
    """The values with the fuel in litres where it was told in per cent of the tank."""
    assert unit.tank_l is not None
    assert read.fuel_pct is not None
    litres = round(unit.tank_l * read.fuel_pct / 100, 3)
    return (*read.values[:FUEL_PLACE], litres, *read.values[FUEL_PLACE + 1 :])


def _no_tank() -> BadItem:
    return BadItem(
        "no-tank", "fuel_pct needs a unit model that states its tank.", "/data/fuel_pct", retryable=True
    )  # fmt: skip


def _contradiction() -> BadItem:
    return BadItem("contradiction", "A reading of this unit, time and source is stored with other values.", "/data")
