"""Stores fault events, each once, and folds the faults they speak of."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from alarms.models import FaultEvent, Scheme
from alarms.services.refold import Identity, identity_of, refold
from fleet.clock import stamp

OWN_SOURCE = "warmgate/rules"
"""Source of the events that our own rules write."""


@dataclass(frozen=True, slots=True)
class Stored:
    """What became of a batch of fault events, by place in the batch."""

    repeats: frozenset[int]
    contradictions: frozenset[int]
    units: frozenset[int]
    """Units whose alarm records changed."""


def store_reports(fleet_id: int, reports: Sequence[FaultEvent], *, now: datetime) -> Stored:
    """Stores unsaved fault events of one fleet and brings their alarms in line.

    An event that is known with the same content is a repeat, one that is known with other content a contradiction;
    neither is stored. The units' states are locked by the caller, inside a transaction.
    """
    known = _known(fleet_id, reports)
    repeats: set[int] = set()
    contradictions: set[int] = set()
    fresh: list[FaultEvent] = []
    for index, report in enumerate(reports):
        report.fleet_id, report.received_at, report.content_hash = fleet_id, now, content_hash(report)
        said = known.get((report.source, report.event_id))
        if said is None:
            known[report.source, report.event_id] = report.content_hash
            fresh.append(report)
        else:
            (repeats if said == report.content_hash else contradictions).add(index)
    FaultEvent.objects.bulk_create(fresh)
    earliest: dict[Identity, datetime] = {}
    for report in fresh:
        identity = identity_of(report)
        earliest[identity] = min(report.at, earliest.get(identity, report.at))
    units = refold(fleet_id, earliest, now=now)
    return Stored(frozenset(repeats), frozenset(contradictions), frozenset(units))


def _known(fleet_id: int, reports: Sequence[FaultEvent]) -> dict[tuple[str, str], str]:
    """Content hashes of events with these sources and ids that are stored already."""
    rows = FaultEvent.objects.for_fleet(fleet_id).filter(
        source__in={report.source for report in reports}, event_id__in={report.event_id for report in reports}
    )
    return {
        (source, event_id): said for source, event_id, said in rows.values_list("source", "event_id", "content_hash")
    }


def content_hash(report: FaultEvent) -> str:
    """What an event says, short: two events of one id and different hashes contradict each other."""
    said = (
        report.unit_id,
        stamp(report.at),
        str(report.scheme),
        report.code,
        str(report.state),
        report.text,
        report.occurrence,
    )
    return hashlib.blake2b(repr(said).encode(), digest_size=16).hexdigest()


def own_report(unit_id: int, code: str, *, raised: bool, at: datetime, text: str = "") -> FaultEvent:
    """An event of our own rules, not saved. Its id says what it is, so that a repeated transaction repeats it."""
    state = FaultEvent.State.RAISED if raised else FaultEvent.State.CLEARED
    return FaultEvent(
        unit_id=unit_id,
        source=OWN_SOURCE,
        event_id=f"{unit_id}:{code}:{state}:{stamp(at)}",
        at=at,
        scheme=Scheme.DERIVED,
        code=code,
        state=state,
        text=text,
    )
