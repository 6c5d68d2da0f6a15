"""What a carrier knows in the end, in words that two carriers can be compared by: no row ids, no times of arrival."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

from alarms.models import FaultEvent, NoticeSubject, Scheme
from fleet.ingest.fields import FIELD_NAMES
from fleet.models import Hold, Reading, Source, Trip, Unit, UnitState
from fleet.trips.due import LIVE
from tests.faults.winter.carrier import Carrier
from tests.faults.winter.closings import closings_of, records_of
from tests.faults.winter.moments import answer_of, own_alarms_of

FACTS = ("fleet.first_off", "fleet.last_on", "fleet.first_engine_hours")
MOST_SHOWN = 5
Known = dict[Any, Any]


@dataclass(slots=True)
class Comparison:
    """How many rows of each kind were compared, and those that differ: (key, one's, the other's)."""

    compared: Counter[str] = field(default_factory=Counter)
    differing: dict[str, list[Any]] = field(default_factory=dict)
    left_out: Counter[str] = field(default_factory=Counter)
    """Rows that may differ for a reason; docs/reliability.md says which."""


def readings(carrier: Carrier) -> Known:
    """(unit, time, source) to every value."""
    units = dict(Unit.objects.for_fleet(carrier.fleet).values_list("pk", "number"))
    sources = dict(Source.objects.for_fleet(carrier.fleet).values_list("pk", "name"))
    rows = Reading.objects.for_fleet(carrier.fleet).values_list("unit_id", "at", "source_id", *FIELD_NAMES)
    return {(units[unit], at, sources[source]): tuple(values) for unit, at, source, *values in rows}


def states(carrier: Carrier) -> Known:
    """Unit to the newest value of each field, with its time and source, and the facts that readings make."""
    rows = UnitState.objects.for_fleet(carrier.fleet).select_related("unit")
    return {row.unit.number: (row.values, row.newest_at, {name: row.facts.get(name) for name in FACTS}) for row in rows}


def fault_events(carrier: Carrier) -> Known:
    rows = FaultEvent.objects.for_fleet(carrier.fleet).exclude(scheme=Scheme.DERIVED)
    found = rows.values_list("unit__number", "source", "event_id", "at", "scheme", "code", "state")
    return {row[:3]: row[3:] for row in found}


def open_holds(carrier: Carrier) -> Known:
    """(trip, unit) to the checks that hold it."""
    rows = Hold.objects.for_fleet(carrier.fleet).filter(state=Hold.State.OPEN).select_related("trip", "unit")
    return {
        (hold.trip.reference, hold.unit.number): sorted({(c["check"], c["outcome"]) for c in hold.causes})
        for hold in rows
    }


def trips(carrier: Carrier) -> Known:
    return dict(Trip.objects.for_fleet(carrier.fleet).values_list("reference", "state"))


def answers(carrier: Carrier) -> Known:
    """Live trip to its verdict, what each check found, and its holds."""
    live = Trip.objects.for_fleet(carrier.fleet).filter(state__in=LIVE).values_list("reference", flat=True)
    return {reference: answer_of(carrier, reference) for reference in sorted(live)}


def own_alarms(carrier: Carrier) -> Known:
    """Live trip to the open alarms of our own rules about its unit."""
    live = Trip.objects.for_fleet(carrier.fleet).filter(state__in=LIVE).select_related("assigned_unit", "planned_unit")
    return {
        trip.reference: own_alarms_of(carrier, unit.number)
        for trip in live
        if (unit := trip.assigned_unit or trip.planned_unit) is not None
    }


def standing_notices(carrier: Carrier) -> Known:
    """(unit, hold or alarm) that somebody must know of to whether it has been told."""
    rows = NoticeSubject.objects.for_fleet(carrier.fleet).filter(ended_at__isnull=True)
    rows = rows.exclude(alarm__scheme=Scheme.DERIVED).select_related("notice__unit", "hold__trip", "alarm")
    return {
        (row.notice.unit.number, row.hold.trip.reference if row.hold else row.alarm.code): row.told_at is not None
        for row in rows
    }


KINDS = {
    "trips": trips,
    "readings": readings,
    "fault events": fault_events,
    "unit states": states,
    "alarms": records_of,
    "open holds": open_holds,
    "answers": answers,
    "standing notices": standing_notices,
}


def compare(one: Carrier, other: Carrier, *, parted: Collection[str] = ()) -> Comparison:
    """Everything of both, kind by kind.

    Left out are trips that left at one carrier only (*parted*); faults of which one carrier closed a record at another
    moment than the other, since what closed a record is never replayed away; and answers about units of which our own
    rules, which depend on what was known when they looked, raised other alarms.
    """
    found = Comparison()
    closings = [closings_of(carrier) for carrier in (one, other)]
    elsewhere = {key for key in closings[0] | closings[1] if closings[0].get(key) != closings[1].get(key)}
    own = [own_alarms(carrier) for carrier in (one, other)]
    judged = {trip for trip in own[0] | own[1] if own[0].get(trip) != own[1].get(trip)}
    leave_out: dict[str, Collection[Any]] = {"trips": parted, "answers": judged.union(parted), "alarms": elsewhere}
    for kind, read in KINDS.items():
        a, b = read(one), read(other)
        left_out = ({*a, *b}).intersection(leave_out.get(kind, ()))
        keys = {*a, *b} - left_out
        found.left_out[kind], found.compared[kind] = len(left_out), len(keys)
        wrong = [(key, a.get(key), b.get(key)) for key in sorted(keys, key=str) if a.get(key) != b.get(key)]
        if wrong:
            found.differing[f"{kind}: {len(wrong)} of {len(keys)}"] = wrong[:MOST_SHOWN]
    return found
