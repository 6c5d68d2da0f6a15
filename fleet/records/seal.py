"""Chains audit entries per fleet, so that a later change of any of them shows.

Acts write their entries without a number; a single sealer (the auditor's task) numbers and hashes them afterwards, so
that the hot path takes no lock. Each entry's hash covers its content and the hash before it.

What the chain shows: an entry that was altered, removed from the middle, inserted or moved. What it cannot show: that
entries were cut off at its end, or that somebody who can write the database rewrote the whole chain. Against that,
write the head (`manage.py verify_audit` prints it) down somewhere else and give it to the next verification.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction

from fleet.clock import stamp
from fleet.models import AuditEntry, Fleet
from fleet.records.canonical import content_hash
from fleet.retry import on_conflict

FIRST = "0" * 64
"""Stands for the hash before the first entry."""
SETTLE = timedelta(seconds=5)
"""Entries this young wait for the next round: transactions still open may hold earlier ones."""
BATCH = 1000


def seal_entries(now: datetime, *, limit: int = BATCH) -> int:
    """Numbers and chains entries that are not sealed yet, up to *limit* per fleet; returns how many.

    Safe to run anywhere, any number of times: sealers of one fleet take turns at the fleet's row.
    """
    ready = AuditEntry.objects.across_fleets().filter(seq__isnull=True, at__lte=now - SETTLE)
    fleet_ids = sorted(set(ready.values_list("fleet_id", flat=True)))
    return sum(on_conflict(lambda pk=pk: _seal_fleet(pk, now, limit)) for pk in fleet_ids)  # type: ignore[misc]


def _seal_fleet(fleet_id: int, now: datetime, limit: int) -> int:
    with transaction.atomic():
        no_key = {"no_key": True} if connection.features.has_select_for_no_key_update else {}
        Fleet.objects.select_for_update(**no_key).get(pk=fleet_id)  # type: ignore[arg-type]
        rows = AuditEntry.objects.for_fleet(fleet_id)
        last = rows.filter(seq__isnull=False).order_by("-seq").first()
        seq, previous = (last.seq or 0, last.hash) if last is not None else (0, FIRST)
        entries = list(rows.filter(seq__isnull=True, at__lte=now - SETTLE).order_by("id")[:limit])
        for entry in entries:
            seq += 1
            entry.seq, entry.prev_hash = seq, previous
            entry.hash = previous = entry_hash(entry)
        rows.bulk_update(entries, ["seq", "prev_hash", "hash"], batch_size=200)
    return len(entries)


def entry_hash(entry: AuditEntry) -> str:
    """SHA-256 of everything the entry says, its place in the chain included."""
    return content_hash(entry_document(entry))


def entry_document(entry: AuditEntry) -> dict[str, Any]:
    return {
        "fleet": entry.fleet_id,
        "seq": entry.seq,
        "prev_hash": entry.prev_hash,
        "id": entry.pk,
        "at": stamp(entry.at),
        "actor": entry.actor_id,
        "actor_name": entry.actor_name,
        "act": entry.act,
        "object_type": entry.object_type,
        "object_id": entry.object_id,
        "content": entry.content,
        "request_id": entry.request_id,
    }


@dataclass(frozen=True, slots=True)
class Fault:
    """One place where the chain does not hold."""

    seq: int
    words: str


@dataclass(slots=True)
class ChainReport:
    """What a walk along one fleet's chain found."""

    fleet_id: int
    sealed: int = 0
    unsealed: int = 0
    head: str = FIRST
    faults: list[Fault] = field(default_factory=list)


def verify_chain(
    fleet_id: int, *, anchor: tuple[int, str] | None = None, walked: Callable[[], None] = lambda: None
) -> ChainReport:
    """Walks the chain of a fleet. *anchor*: a head (seq, hash) written down earlier, which must still be in it.
    *walked* is called after each entry."""
    rows = AuditEntry.objects.for_fleet(fleet_id)
    report = ChainReport(fleet_id, unsealed=rows.filter(seq__isnull=True).count())
    met = anchor is None or anchor == (0, FIRST)
    for entry, fault in _walk(rows.filter(seq__isnull=False).order_by("seq").iterator(chunk_size=500)):
        report.sealed += 1
        report.head = entry.hash
        if fault:
            report.faults.append(Fault(entry.seq or 0, fault))
        met = met or anchor == (entry.seq, entry.hash)
        walked()
    if not met and anchor is not None:
        report.faults.append(Fault(anchor[0], "the head written down earlier is missing: entries were cut off"))
    return report


def _walk(entries: Iterator[AuditEntry]) -> Iterator[tuple[AuditEntry, str]]:
    """Each entry with what is wrong at it, or an empty text. Goes on from what is stored, so that one altered entry
    is one fault."""
    seq, previous = 0, FIRST
    for entry in entries:
        seq += 1
        if entry.seq != seq:
            yield entry, f"entries {seq} to {(entry.seq or 0) - 1} are missing"
            seq = entry.seq or 0
        elif entry.prev_hash != previous:
            yield entry, "does not follow the entry before it"
        elif entry.hash != entry_hash(entry):
            yield entry, "was altered after it was sealed"
        else:
            yield entry, ""
        previous = entry.hash
