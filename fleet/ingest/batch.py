"""A batch on its way through the ingest transaction, and the answer per item that comes out of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db import connection

from fleet.ingest.careful import BadItem
from fleet.ingest.parse import Item, Split
from fleet.ingest.quarantine import Outcast
from fleet.models import Source
from fleet.units.numbers import lock_units

PATIENCE_MS = 20
"""About what a batch of another sender takes."""


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
    in_turn: bool = False
    """Whether all its units are locked first, in ascending order."""
    doubt: bool = False
    """Whether readings newer than their unit's state are looked up too."""
    units: dict[str, int] = field(default_factory=dict)
    """Ids by number, of units whose state rows are locked."""
    sources: dict[str, int] = field(default_factory=dict)
    outcasts: list[Outcast] = field(default_factory=list)
    duplicates: set[int] = field(default_factory=set)
    late: set[int] = field(default_factory=set)
    touched: set[int] = field(default_factory=set)

    @property
    def patience_ms(self) -> int:
        """How long it may wait for a lock while it holds some that were not taken in order; 0 has no end."""
        return 0 if self.in_turn else PATIENCE_MS

    def cast_out(self, item: Item, bad: BadItem, unit_id: int | None = None) -> None:
        self.outcasts.append(Outcast(item, bad, unit_id))

    def look_up(self, places: Sequence[int]) -> None:
        """Finds units and sources of the items in these places, and locks the units' state rows."""
        heads = self.items.heads(places)
        # Nearly always one sender, whose id comes with the units.
        first = heads[0].source if heads else ""
        units, source_id = lock_units(self.fleet_id, {head.subject for head in heads}, source=first)
        self.units |= units
        if source_id is not None:
            self.sources[first] = source_id
        self.find_sources({head.source for head in heads if head.subject in units})

    def find_sources(self, names: set[str]) -> None:
        """Knows the ids of these sources, which are stored where they are new."""
        missing = names - self.sources.keys()
        if not missing:
            return
        known = _known_sources(self.fleet_id, missing)
        new = sorted(missing - known.keys())
        if new:
            rows = [Source(fleet_id=self.fleet_id, name=name) for name in new]
            Source.objects.bulk_create(rows, ignore_conflicts=True)
            known |= _known_sources(self.fleet_id, set(new))
        self.sources |= known


def _known_sources(fleet_id: int, names: set[str]) -> dict[str, int]:
    marks = ", ".join(["%s"] * len(names))
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT name, id FROM fleet_source WHERE fleet_id = %s AND name IN ({marks})", [fleet_id, *names]
        )
        return dict(cursor.fetchall())
