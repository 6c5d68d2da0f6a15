"""Tries a held event again, as if it had just arrived."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from fleet.ingest.batch import ItemAnswer
from fleet.ingest.parse import split_batch
from fleet.ingest.quarantine import close_held, take_over
from fleet.ingest.service import ingest
from fleet.models import Member, QuarantinedEvent
from fleet.retry import on_conflict


@dataclass(frozen=True, slots=True)
class Replay:
    """Whether the event was taken this time, and the item's answer when it was not plainly accepted."""

    taken: bool
    item: ItemAnswer | None


def replay_held(row: QuarantinedEvent, *, by: Member, now: datetime) -> Replay:
    """Ingests the event and closes its row, or keeps the row with the newest reason. *Raises* NotHeld."""
    return on_conflict(lambda: _replay(row, by, now))


def _replay(row: QuarantinedEvent, by: Member, now: datetime) -> Replay:
    with transaction.atomic():
        answer = ingest(row.fleet_id, split_batch(b"[" + row.raw.encode() + b"]"), now=now)
        item = answer.items[0] if answer.items else None
        taken = answer.count("quarantined") == 0
        if taken:
            close_held(row, state=QuarantinedEvent.State.REPLAYED, by=by, reason="replayed", now=now)
        elif item is not None and item.quarantine_id not in (None, row.pk):
            assert item.quarantine_id is not None
            take_over(row, item.quarantine_id)
            item.quarantine_id = row.pk
    return Replay(taken, item)
