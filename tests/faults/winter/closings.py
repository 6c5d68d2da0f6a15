"""Records of faults that units reported, and the moments at which they were closed.

A signature or the quiet after a return closes a record, and that is never replayed away: a report that arrives later is
counted into the closed record and may begin a new one. So the records of two carriers are the same where both closed
them at the same moments. In any case each must be what its own reports say, cut at its own moments.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from itertools import zip_longest
from typing import Any

from alarms.folding import Cut, Episode, Report, fold
from alarms.models import Alarm, FaultEvent, Scheme
from tests.faults.winter.carrier import Carrier

FOLDED = ("raised_at", "returned_at", "last_event_at", "as_reported", "raise_count", "text", "occurrence")
Fault = tuple[str, str, str]
"""Unit, scheme, code."""


def records_of(carrier: Carrier) -> dict[Fault, list[dict[str, Any]]]:
    """Fault to its records, oldest first: what the unit's own reports say, and whether the record is open."""
    return {
        fault: [
            {name: getattr(alarm, name) for name in FOLDED} | {"open": alarm.is_open}
            for alarm in alarms
            if alarm.state != Alarm.State.VOIDED
        ]
        for fault, alarms in _alarms(carrier).items()
    }


def closings_of(carrier: Carrier) -> dict[Fault, list[datetime]]:
    return {
        fault: [alarm.cut_at for alarm in alarms if alarm.cut_at is not None]
        for fault, alarms in _alarms(carrier).items()
    }


def wrongly_folded(carrier: Carrier) -> list[Any]:
    """Faults whose records are not what all their reports say when they are cut where the records were closed."""
    reports: dict[Fault, list[Report]] = defaultdict(list)
    rows = FaultEvent.objects.for_fleet(carrier.fleet).exclude(scheme=Scheme.DERIVED)
    columns = ("unit__number", "scheme", "code", "at", "source", "event_id", "state", "text", "occurrence")
    for number, scheme, code, at, source, event_id, state, text, occurrence in rows.values_list(*columns):
        raised = state == FaultEvent.State.RAISED
        reports[number, scheme, code].append(Report(at, source, event_id, raised, text, occurrence))
    alarms = _alarms(carrier)
    told = {fault: (own, alarms.get(fault, [])) for fault, own in sorted(reports.items())}
    return [(fault, *both) for fault, (own, kept) in told.items() if (both := _said_and_kept(own, kept)) is not None]


def _said_and_kept(reports: list[Report], alarms: list[Alarm]) -> tuple[Any, Any] | None:
    """What the reports say of each record and what it keeps; None when they are the same."""
    closed = [alarm for alarm in alarms if alarm.cut_at is not None]
    newest = alarms[-1:] if alarms and alarms[-1].cut_at is None else []
    cuts = [Cut(alarm.cut_at, carries=alarm.state != Alarm.State.VOIDED) for alarm in closed]
    pairs = zip_longest(fold(reports, cuts), [*closed, *newest])
    told = [(episode, alarm) for episode, alarm in pairs if episode is not None]
    said = [_folded(episode) for episode, _ in told]
    kept = [_folded(alarm) for _, alarm in told]
    return None if said == kept else (said, kept)


def _folded(row: Alarm | Episode | None) -> tuple[Any, ...]:
    return () if row is None else tuple(getattr(row, name) for name in FOLDED)


def _alarms(carrier: Carrier) -> dict[Fault, list[Alarm]]:
    found = defaultdict(list)
    rows = Alarm.objects.for_fleet(carrier.fleet).exclude(scheme=Scheme.DERIVED)
    for alarm in rows.select_related("unit").order_by("pk"):
        found[alarm.unit.number, str(alarm.scheme), alarm.code].append(alarm)
    return dict(found)
