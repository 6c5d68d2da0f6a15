"""Stores fault events, each once, and folds the faults they speak of."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from alarms.models import FaultEvent, Scheme
from alarms.rules import Ruling
from alarms.services.refold import Identity, identity_of, refold
from fleet.clock import stamp
from fleet.units.state import put_facts

OWN_SOURCE = "warmgate/rules"
"""Source of the events that our own rules write."""
RULED = "alarms.ruled"
"""Unit fact: the codes that our own rules find at present."""


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


def store_rulings(
    fleet_id: int,
    unit_id: int,
    rulings: Sequence[Ruling],
    *,
    known: Collection[str],
    now: datetime,
    at: datetime | None = None,
) -> bool:
    """Stores what our own rules found as events of our own; says whether a record changed.

    *at*: since when it is so, if that is not now. *known*: what the rules had found before, as published; the new
    state is published with the events. It is kept apart from the records, because a manager may void one while its
    condition lasts: that is no new finding.
    """
    return bool(store_all_rulings(fleet_id, {unit_id: Found(rulings, known)}, now=now, at=at))


@dataclass(frozen=True, slots=True)
class Found:
    """What our own rules found of one unit, and what they had found before."""

    rulings: Sequence[Ruling]
    known: Collection[str]


def store_all_rulings(
    fleet_id: int, found: Mapping[int, Found], *, now: datetime, at: datetime | None = None
) -> frozenset[int]:
    """The same for many units of one fleet, by unit id, in as many statements as for one; the units that changed."""
    reports = [
        _own_report(unit_id, ruling, at or now) for unit_id in sorted(found) for ruling in found[unit_id].rulings
    ]
    stored = store_reports(fleet_id, reports, now=now)
    put_facts({unit_id: {RULED: sorted(_standing(one))} for unit_id, one in found.items()}, at=now, source="alarms")
    return stored.units


def _standing(found: Found) -> set[str]:
    raised = {ruling.code for ruling in found.rulings if ruling.raised}
    over = {ruling.code for ruling in found.rulings if not ruling.raised}
    return (set(found.known) | raised) - over


def ruled_codes(fact: Any) -> frozenset[str]:
    """The codes in the value of the fact `RULED`, which a unit may not have yet."""
    return frozenset(fact or ())


def _own_report(unit_id: int, ruling: Ruling, at: datetime) -> FaultEvent:
    """Its id says what it is, so that a transaction that runs again stores the same event."""
    state = FaultEvent.State.RAISED if ruling.raised else FaultEvent.State.CLEARED
    return FaultEvent(
        unit_id=unit_id,
        source=OWN_SOURCE,
        event_id=f"{unit_id}:{ruling.code}:{state}:{stamp(at)}",
        at=at,
        scheme=Scheme.DERIVED,
        code=ruling.code,
        state=state,
        text=ruling.text,
    )
