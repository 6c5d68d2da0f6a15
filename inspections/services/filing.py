"""Files inspections: whole and signed, or begun as a draft, filled step by step and signed at the end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.errors import InvalidInput
from fleet.models import Fleet, Member, Trip, Unit
from fleet.records.audit import record_act
from fleet.retry import on_conflict
from inspections.form import Item, Seen, faults_in
from inspections.models import Inspection, Observation, Sheet
from inspections.selectors import form_items, inspection_of, sheet_for
from inspections.services.acts import AlreadySigned, finish_act, locked_unit, require_revision
from inspections.services.photos import tie_photos
from inspections.services.sealing import seal_inspection
from inspections.signing import require_time
from inspections.standing import publish_progress


def file_inspection(fleet: Fleet, filing: Mapping[str, Any], *, by: Member, now: datetime) -> Inspection:
    """Files an inspection of one unit: signed when *filing* carries a signature, else a draft.

    *filing*: `sheet`, `sheet_version` (newest when left out), `unit`, `performed_at` (now when left out), `trip`,
    `observations`, `signature`. *Raises* InvalidInput, NotFound, ReviewRequired.
    """

    def work() -> Inspection:
        with transaction.atomic():
            unit = locked_unit(fleet, filing["unit"])
            sheet = sheet_for(fleet, unit, filing["sheet"], version=filing.get("sheet_version"))
            row = _begin(fleet, unit, sheet, filing, by=by, now=now)
            write_observations(row, unit, filing.get("observations", ()))
            if filing.get("signature") is not None:
                seal_inspection(row, unit, filing["signature"], by=by, now=now)
            else:
                publish_progress(unit, now=now)
                content = {"sheet": str(sheet)}
                finish_act(by, act="inspection.started", subject=row, unit=unit, now=now, content=content)
            return row

    return on_conflict(work)


def _begin(
    fleet: Fleet, unit: Unit, sheet: Sheet, filing: Mapping[str, Any], *, by: Member, now: datetime
) -> Inspection:
    performed_at = filing.get("performed_at") or now
    require_time(performed_at, now=now)
    return Inspection.objects.create(
        fleet=fleet,
        unit=unit,
        sheet=sheet,
        kind=sheet.kind,
        performed_at=performed_at,
        started_at=now,
        started_by=by,
        trip=_trip(fleet, filing.get("trip")),
    )


def _trip(fleet: Fleet, reference: str | None) -> Trip | None:
    if reference is None:
        return None
    trip: Trip | None = Trip.objects.for_fleet(fleet).filter(reference=reference).first()
    if trip is None:
        raise InvalidInput.at("/trip", "unknown-trip", "There is no such trip.")
    return trip


def write_observations(row: Inspection, unit: Unit, documents: Sequence[Mapping[str, Any]]) -> None:
    """Stores what was seen, an item given again replacing what the draft had. *Raises* InvalidInput."""
    items = form_items(row.sheet, unit)
    seen = [
        Seen(one["item"], one["outcome"], one.get("note", ""), _stated(one.get("values") or {})) for one in documents
    ]
    if faults := faults_in(items, seen):
        raise InvalidInput(errors=faults)
    Observation.objects.bulk_create(
        [_observation(row, items[one.item], one) for one in seen],
        update_conflicts=True,
        unique_fields=["inspection", "item"],
        update_fields=["outcome", "note", "values"],
    )
    tie_photos(row, documents)


def _stated(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None}


def _observation(row: Inspection, item: Item, one: Seen) -> Observation:
    return Observation(
        fleet_id=row.fleet_id,
        inspection=row,
        unit_id=row.unit_id,
        item=item.key,
        label=item.label,
        position=item.position,
        outcome=one.outcome,
        blocks=item.blocks,
        if_fitted=item.if_fitted,
        note=one.note,
        values=dict(one.values),
    )


def change_draft(
    fleet: Fleet, pk: int, changes: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime
) -> Inspection:
    """Adds observations to a draft, or moves its time. *Raises* AlreadySigned."""

    def work() -> Inspection:
        with transaction.atomic():
            row, unit = locked_draft(fleet, pk, revision)
            if changes.get("performed_at") is not None:
                require_time(changes["performed_at"], now=now)
                row.performed_at = changes["performed_at"]
            write_observations(row, unit, changes.get("observations", ()))
            row.revision += 1
            row.save(update_fields=["performed_at", "revision"])
            content = {"unit": unit.number, "items": [one["item"] for one in changes.get("observations", ())]}
            record_act(by, act="inspection.filled", subject=row, at=now, content=content)
            return row

    return on_conflict(work)


def sign_inspection(
    fleet: Fleet, pk: int, signature: Mapping[str, Any], *, revision: int | None, by: Member, now: datetime
) -> Inspection:
    """Signs a draft. Items nobody wrote about are stored as not seen. *Raises* AlreadySigned, ReviewRequired."""

    def work() -> Inspection:
        with transaction.atomic():
            row, unit = locked_draft(fleet, pk, revision)
            row.revision += 1
            seal_inspection(row, unit, signature, by=by, now=now, at="")
            return row

    return on_conflict(work)


def locked_draft(fleet: Fleet, pk: int, revision: int | None) -> tuple[Inspection, Unit]:
    """A draft under its unit's lock. *Raises* NotFound, AlreadySigned, StaleRevision."""
    unit = locked_unit(fleet, inspection_of(fleet.pk, pk).unit.number)
    row = inspection_of(fleet.pk, pk)
    if row.state != Inspection.State.DRAFT:
        raise AlreadySigned(f"The inspection is {row.state}; correct it by another one.")
    require_revision(row.revision, revision)
    return row, unit
