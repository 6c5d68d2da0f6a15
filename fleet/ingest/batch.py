"""A batch on its way through the ingest transaction, and the answer per item that comes out of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from django.db import connection

from fleet.ingest.parse import BadItem, Item, Split
from fleet.ingest.quarantine import Outcast
from fleet.models import Source
from fleet.units.told import LockedUnit, lock_units


@dataclass(slots=True)
class ItemAnswer:
    """What became of one item, when it was not plainly accepted."""

    index: int
    id: str
    status: str
    code: str = ""
    detail: str = ""
    pointer: str = ""
    retryable: bool = False
    quarantine_id: int | None = None


@dataclass(slots=True)
class BatchAnswer:
    """What became of a batch."""

    received: int
    items: list[ItemAnswer] = field(default_factory=list)

    def count(self, status: str) -> int:
        return sum(item.status == status for item in self.items)

    @property
    def accepted(self) -> int:
        return self.received - self.count("duplicate") - self.count("quarantined")


@dataclass(slots=True)
class Batch:
    """A batch on its way through the transaction."""

    fleet_id: int
    now: datetime
    items: Split
    units: dict[str, LockedUnit]
    sources: dict[str, int]
    doubt: bool = False
    """Whether readings newer than their unit's state are looked up too."""
    outcasts: list[Outcast] = field(default_factory=list)
    duplicates: set[int] = field(default_factory=set)
    late: set[int] = field(default_factory=set)
    touched: set[int] = field(default_factory=set)

    def cast_out(self, item: Item, bad: BadItem, unit_id: int | None = None) -> None:
        self.outcasts.append(Outcast(item, bad, unit_id))


def open_batch(fleet_id: int, items: Split, now: datetime, *, doubt: bool = False) -> Batch:
    """Looks up units and sources and locks the state rows of all units named in the batch."""
    heads = items.heads()
    # Nearly always one sender, whose id comes with the units.
    first = heads[0].source if heads else ""
    units, source_id = lock_units(fleet_id, {head.subject for head in heads}, source=first)
    known = {} if source_id is None else {first: source_id}
    names = {head.source for head in heads}
    if names != known.keys():
        names = {head.source for head in heads if head.subject in units}
        known |= _sources(fleet_id, names - known.keys())
    return Batch(fleet_id, now, items, units, known, doubt)


def _sources(fleet_id: int, names: set[str]) -> dict[str, int]:
    """The ids of these sources, which are stored where they are new."""
    if not names:
        return {}
    known = _known_sources(fleet_id, names)
    missing = sorted(names - known.keys())
    if missing:
        Source.objects.bulk_create([Source(fleet_id=fleet_id, name=name) for name in missing], ignore_conflicts=True)
        known = _known_sources(fleet_id, names)
    return known


def _known_sources(fleet_id: int, names: set[str]) -> dict[str, int]:
    marks = ", ".join(["%s"] * len(names))
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT name, id FROM fleet_source WHERE fleet_id = %s AND name IN ({marks})", [fleet_id, *names]
        )
        return dict(cursor.fetchall())
