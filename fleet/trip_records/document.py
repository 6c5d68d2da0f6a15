"""Puts a record together: scope, sections, digests. What its hash covers is one JSON document."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from fleet.charts.measured import measured_of
from fleet.clock import text_of
from fleet.errors import Conflict
from fleet.models import Trip
from fleet.readiness.document import CAUTION
from fleet.readiness.selectors import own_unit, trip_with_units
from fleet.records.canonical import content_hash
from fleet.trip_records.readings import readings_digest
from fleet.trip_records.sections import MEASURED, Content, Scope, Section, contents

FORMAT = "warmgate.trip-record.v1"
HASH = "content_sha256"


class NotLeft(Conflict):
    """The trip has not left: there is nothing to record yet."""


@dataclass(frozen=True, slots=True)
class Record:
    """One record: what it is about, what each section says, and the document that stands for all of it."""

    scope: Scope
    sections: tuple[tuple[Section, Content], ...]
    document: dict[str, Any]

    @property
    def provisional(self) -> bool:
        return bool(self.document["provisional"])


def scope_of(fleet_id: int, reference: str, *, now: datetime) -> Scope:
    """What the record of a trip is about, its readings not loaded. *Raises* NotFound, NotLeft."""
    trip = trip_with_units(fleet_id, reference)
    unit = own_unit(trip)
    if trip.departed_at is None or unit is None:
        raise NotLeft(f"{trip.reference} has not left: its record begins with its departure.")
    until = trip.delivered_at or trip.cancelled_at or now
    since = min(trip.loading_at, trip.departed_at)
    nothing = measured_of(unit.pk, since=since, until=since, names=MEASURED)
    return Scope(trip, unit, since, max(until, since), nothing)


def record_of(fleet_id: int, reference: str, *, now: datetime) -> Record:
    """The whole record of a trip. *Raises* NotFound, NotLeft."""
    scope = scope_of(fleet_id, reference, now=now)
    measured = measured_of(scope.unit.pk, since=scope.since, until=scope.until, names=MEASURED)
    scope = replace(scope, measured=measured)
    said = tuple(contents(scope))
    count, digest = readings_digest(scope.unit.pk, since=scope.since, until=scope.until)
    document: dict[str, Any] = {
        "format": FORMAT,
        "carrier": scope.trip.fleet.name,
        "trip": scope.trip.reference,
        "unit": scope.unit.number,
        "state": str(scope.trip.state),
        "provisional": scope.trip.state == Trip.State.UNDER_WAY,
        "since": text_of(scope.since),
        "until": text_of(scope.until),
        "readings": {"count": count, "csv_sha256": digest, "cut": measured.cut},
        "sections": {section.id: content.data for section, content in said},
        "caution": CAUTION,
    }
    return Record(scope, said, document | {HASH: content_hash(document)})
