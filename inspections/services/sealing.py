"""Signing: the moment in which a filled sheet becomes a record and counts."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q

from fleet.clock import text_of
from fleet.models import Assessment, Member, Trip, Unit
from fleet.readiness.facts import instant
from fleet.records.canonical import content_hash
from inspections.content import inspection_content
from inspections.form import result_of
from inspections.models import Inspection, Observation, Signature
from inspections.reviews import reviewed_report
from inspections.selectors import form_items
from inspections.services.acts import finish_act
from inspections.signing import LATE, sign
from inspections.standing import (
    publish_progress,
    publish_standing,
    rebuild_measured,
    record_measured,
    refold_defects,
)

COUNTER_VALID = timedelta(hours=12)
"""An engine hour reading this near the inspection counts as taken with it."""


def seal_inspection(
    row: Inspection,
    unit: Unit,
    given: Mapping[str, Any],
    *,
    by: Member,
    now: datetime,
    at: str = "/signature",
) -> None:
    """Turns a draft into a signed record and publishes what follows from it. The unit's state is locked.

    *given*: `reviewed` (the last report's id, for a pre-trip inspection), `device_at`; *at*: where in the request it
    stands. *Raises* ReviewRequired.
    """
    _complete(row, unit)
    row.reviewed_id = reviewed_report(row, given.get("reviewed"), at=at)
    row.state, row.signed_at = Inspection.State.SIGNED, now
    row.result = result_of(row.observations.all())
    row.engine_hours_h = _engine_hours(row, unit)
    row.arrival = Inspection.Arrival.LATE if now - row.performed_at > LATE else Inspection.Arrival.IN_TIME
    row.save()
    sign(by, meaning=Signature.Meaning.PERFORMED, given=given, now=now, inspection=row)
    if row.reviewed_id is not None:
        sign(by, meaning=Signature.Meaning.REVIEWED, given=given, now=now, inspection=row)
    _publish(row, unit, now)
    row.content_hash = content_hash(inspection_content(row))
    row.save(update_fields=["content_hash", "arrival"])
    act = "inspection.corrected" if row.supersedes_id else "inspection.signed"
    content = {
        "sheet": str(row.sheet),
        "kind": str(row.kind),
        "result": str(row.result),
        "performed_at": text_of(row.performed_at),
        "arrival": str(row.arrival),
        "supersedes": row.supersedes_id,
        "reason": row.reason,
        "content_hash": row.content_hash,
    }
    finish_act(by, act=act, subject=row, unit=unit, now=now, content=content)


def _complete(row: Inspection, unit: Unit) -> None:
    """Stores items nobody wrote about as not seen: a gap is on the record. A re-check covers only what it names."""
    if row.kind == Inspection.Kind.RECHECK:
        return
    written = set(row.observations.values_list("item", flat=True))
    Observation.objects.bulk_create(
        Observation(
            fleet_id=row.fleet_id,
            inspection=row,
            unit=unit,
            item=item.key,
            label=item.label,
            position=item.position,
            outcome=Observation.Outcome.NOT_SEEN,
            blocks=item.blocks,
            if_fitted=item.if_fitted,
        )
        for item in form_items(row.sheet, unit).values()
        if item.key not in written
    )


def _engine_hours(row: Inspection, unit: Unit) -> float | None:
    """The counter as it was read at the inspection, else as the unit reported it about that time."""
    for values in row.observations.values_list("values", flat=True):
        if "engine_hours_h" in values:
            return float(values["engine_hours_h"])
    known = unit.state.values.get("engine_hours_h")
    if known is None or abs(instant(known[1]) - row.performed_at) > COUNTER_VALID:
        return None
    return float(known[0])


def _publish(row: Inspection, unit: Unit, now: datetime) -> None:
    """Defects, standing and measured facts. A record that came late and moved an answer already given is marked."""
    items = set(row.observations.values_list("item", flat=True))
    if row.supersedes is not None:
        items |= set(row.supersedes.observations.values_list("item", flat=True))
    refold_defects(unit, items)
    moved = publish_standing(unit, now=now)
    if row.supersedes is not None:
        rebuild_measured(unit)
    else:
        record_measured(row)
    publish_progress(unit, now=now)
    if row.arrival == Inspection.Arrival.LATE and moved and _answered_since(row):
        row.arrival = Inspection.Arrival.CHANGED_ANSWER


def _answered_since(row: Inspection) -> bool:
    """Whether an answer about a trip of the unit was given without knowing of this record."""
    trips = Trip.objects.for_fleet(row.fleet_id).filter(
        Q(assigned_unit=row.unit_id) | Q(planned_unit=row.unit_id), arrive_at__gt=row.performed_at
    )
    answers = Assessment.objects.for_fleet(row.fleet_id).filter(trip__in=trips, unit_id=row.unit_id)
    return answers.filter(confirmed_at__gt=row.performed_at).exists()
