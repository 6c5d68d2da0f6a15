"""After the signature: corrections that supersede, and re-checks of single items."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.errors import Conflict, InvalidInput
from fleet.models import Fleet, Member, Unit
from fleet.retry import on_conflict
from inspections.models import Inspection
from inspections.selectors import inspection_of
from inspections.services.acts import AlreadySigned, locked_unit
from inspections.services.filing import write_observations
from inspections.services.sealing import seal_inspection
from inspections.signing import require_time


class NotSigned(Conflict):
    """Only a signed inspection can be corrected, repaired against or checked again."""


def locked_signed(fleet: Fleet, pk: int) -> tuple[Inspection, Unit]:
    """A signed inspection that still stands, under its unit's lock. *Raises* NotFound, NotSigned, AlreadySigned."""
    unit = locked_unit(fleet, inspection_of(fleet.pk, pk).unit.number)
    row = inspection_of(fleet.pk, pk)
    if row.state == Inspection.State.DRAFT:
        raise NotSigned("The inspection is a draft; sign it first.")
    if row.state == Inspection.State.SUPERSEDED:
        newer = row.superseded_by.pk
        raise AlreadySigned(f"Inspection {newer} has superseded this one.", superseded_by=newer)
    return row, unit


def correct_inspection(
    fleet: Fleet, pk: int, correction: Mapping[str, Any], *, by: Member, now: datetime
) -> Inspection:
    """Files a whole new inspection in the place of a signed one, with the reason. The old one is kept and marked.

    *correction*: `reason`, `observations`, `signature`, `performed_at` (the old one when left out).
    """

    def work() -> Inspection:
        with transaction.atomic():
            old, unit = locked_signed(fleet, pk)
            if old.rechecks.filter(state=Inspection.State.SIGNED).exists():
                raise Conflict("Items of this inspection were checked again; file a new inspection instead.")
            performed_at = correction.get("performed_at") or old.performed_at
            require_time(performed_at, now=now)
            row = _successor(old, performed_at, by=by, now=now, supersedes=old, reason=correction["reason"])
            write_observations(row, unit, correction["observations"])
            old.state = Inspection.State.SUPERSEDED
            old.revision += 1
            old.save(update_fields=["state", "revision"])
            seal_inspection(row, unit, correction["signature"], by=by, now=now)
            return row

    return on_conflict(work)


def recheck_items(fleet: Fleet, pk: int, recheck: Mapping[str, Any], *, by: Member, now: datetime) -> Inspection:
    """Looks again at items of a signed inspection, after a repair or because they were not seen.

    *recheck*: `observations`, `signature`, `performed_at`. *Raises* InvalidInput.
    """

    def work() -> Inspection:
        with transaction.atomic():
            first, unit = locked_signed(fleet, pk)
            if first.kind == Inspection.Kind.RECHECK:
                raise Conflict("This is a re-check itself; check again against the inspection it refers to.")
            performed_at = recheck.get("performed_at") or now
            require_time(performed_at, now=now)
            if performed_at < first.performed_at:
                raise InvalidInput.at("/performed_at", "out-of-order", "A re-check follows the inspection.")
            row = _successor(first, performed_at, by=by, now=now, kind=Inspection.Kind.RECHECK, refers_to=first)
            write_observations(row, unit, recheck["observations"])
            seal_inspection(row, unit, recheck["signature"], by=by, now=now)
            return row

    return on_conflict(work)


def _successor(old: Inspection, performed_at: datetime, *, by: Member, now: datetime, **changes: Any) -> Inspection:
    fields: dict[str, Any] = {"kind": old.kind, "refers_to": old.refers_to} | changes
    return Inspection.objects.create(
        fleet_id=old.fleet_id,
        unit=old.unit,
        sheet=old.sheet,
        performed_at=performed_at,
        started_at=now,
        started_by=by,
        trip=old.trip,
        **fields,
    )
