"""What a carrier knows in the end, in words that two carriers can be compared by: no row ids, no times of arrival."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from alarms.models import Alarm, FaultEvent, Scheme
from fleet.ingest.fields import FIELD_NAMES
from fleet.models import Fleet, Hold, Reading, Source, Trip, Unit, UnitState

FOLDED = ("raised_at", "returned_at", "last_event_at", "as_reported", "raise_count", "text", "occurrence")
FACTS = ("fleet.first_off", "fleet.last_on", "fleet.first_engine_hours")
Known = dict[Any, Any]


def readings(fleet: Fleet) -> Known:
    """(unit, time, source) to every value."""
    units = dict(Unit.objects.for_fleet(fleet).values_list("pk", "number"))
    sources = dict(Source.objects.for_fleet(fleet).values_list("pk", "name"))
    rows = Reading.objects.for_fleet(fleet).values_list("unit_id", "at", "source_id", *FIELD_NAMES)
    return {(units[unit], at, sources[source]): tuple(values) for unit, at, source, *values in rows}


def states(fleet: Fleet) -> Known:
    """Unit to the newest value of each field, with its time and source, and the facts that readings make."""
    rows = UnitState.objects.for_fleet(fleet).select_related("unit")
    return {row.unit.number: (row.values, row.newest_at, {name: row.facts.get(name) for name in FACTS}) for row in rows}


def fault_events(fleet: Fleet) -> Known:
    rows = FaultEvent.objects.for_fleet(fleet).exclude(scheme=Scheme.DERIVED)
    found = rows.values_list("unit__number", "source", "event_id", "at", "scheme", "code", "state")
    return {row[:3]: row[3:] for row in found}


def alarms(fleet: Fleet) -> Known:
    """(unit, scheme, code) to its records in order of time: what the unit's own events say of each."""
    found = defaultdict(list)
    rows = Alarm.objects.for_fleet(fleet).exclude(scheme=Scheme.DERIVED).exclude(state="voided")
    for alarm in rows.select_related("unit").order_by("raised_at", "pk"):
        record = {name: getattr(alarm, name) for name in FOLDED} | {"open": alarm.is_open}
        found[alarm.unit.number, str(alarm.scheme), alarm.code].append(record)
    return dict(found)


def open_holds(fleet: Fleet) -> Known:
    """(trip, unit) to the checks that hold it."""
    rows = Hold.objects.for_fleet(fleet).filter(state=Hold.State.OPEN).select_related("trip", "unit")
    return {
        (hold.trip.reference, hold.unit.number): sorted({(c["check"], c["outcome"]) for c in hold.causes})
        for hold in rows
    }


def trips(fleet: Fleet) -> Known:
    return dict(Trip.objects.for_fleet(fleet).values_list("reference", "state"))


KINDS = {
    "trips": trips,
    "readings": readings,
    "fault events": fault_events,
    "unit states": states,
    "alarms": alarms,
    "open holds": open_holds,
}


def differences(one: Fleet, other: Fleet) -> dict[str, list[Any]]:
    """Kind to what differs between the two, the first five of each."""
    found: dict[str, list[Any]] = {}
    for kind, read in KINDS.items():
        a, b = read(one), read(other)
        wrong = [(key, a.get(key), b.get(key)) for key in sorted({*a, *b}, key=str) if a.get(key) != b.get(key)]
        if wrong:
            found[f"{kind}: {len(wrong)} of {len({*a, *b})}"] = wrong[:5]
    return found
