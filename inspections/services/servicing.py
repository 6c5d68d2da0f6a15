"""Records services by the plan; the unit's last service follows the newest record."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.models import Fleet, Member, Unit
from fleet.records.canonical import content_hash
from fleet.retry import on_conflict
from fleet.units.service import change_unit
from inspections.content import service_content
from inspections.models import ServiceRecord, Signature
from inspections.services.acts import finish_act, locked_unit
from inspections.signing import require_time, sign
from inspections.standing import publish_standing


def record_service(
    fleet: Fleet, number: str, service: Mapping[str, Any], *, by: Member, now: datetime
) -> ServiceRecord:
    """Records and signs a service of a unit. Work voids the pre-trip inspection: somebody has to look again.

    *service*: `engine_hours_h`, `what_done`, `done_by`, `performed_at`, `signature`.
    """

    def work() -> ServiceRecord:
        with transaction.atomic():
            unit = locked_unit(fleet, number)
            performed_at = service.get("performed_at") or now
            require_time(performed_at, now=now)
            row = _store(unit, service, performed_at, by=by, now=now)
            _move_unit(fleet, unit, row, by=by, now=now)
            publish_standing(unit, now=now)
            content = {
                "engine_hours_h": row.engine_hours_h,
                "what_done": row.what_done,
                "content_hash": row.content_hash,
            }
            finish_act(by, act="unit.serviced", subject=row, unit=unit, now=now, content=content)
            return row

    return on_conflict(work)


def _store(
    unit: Unit, service: Mapping[str, Any], performed_at: datetime, *, by: Member, now: datetime
) -> ServiceRecord:
    row = ServiceRecord.objects.create(
        fleet_id=unit.fleet_id,
        unit=unit,
        performed_at=performed_at,
        engine_hours_h=service["engine_hours_h"],
        what_done=service["what_done"],
        done_by=service.get("done_by") or str(by),
        recorded_at=now,
    )
    sign(by, meaning=Signature.Meaning.PERFORMED, given=service["signature"], now=now, service=row)
    row.content_hash = content_hash(service_content(row))
    row.save(update_fields=["content_hash"])
    return row


def _move_unit(fleet: Fleet, unit: Unit, row: ServiceRecord, *, by: Member, now: datetime) -> None:
    """A service that was posted late does not take the place of a newer one."""
    newer = ServiceRecord.objects.for_fleet(fleet).filter(unit=unit, performed_at__gt=row.performed_at).exists()
    served_on = row.performed_at.date()
    if newer or (unit.serviced_on is not None and unit.serviced_on > served_on):
        return
    changes = {"serviced_at_h": row.engine_hours_h, "serviced_on": served_on}
    change_unit(fleet, unit.number, changes, revision=None, by=by, now=now)
