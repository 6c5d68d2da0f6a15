"""Signs for defects: repaired, or no repair necessary."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.errors import Conflict, InvalidInput
from fleet.models import Fleet, Member, Unit
from fleet.records.canonical import content_hash
from fleet.retry import on_conflict
from fleet.units.state import record_facts
from inspections.content import repair_content
from inspections.models import Defect, Inspection, Observation, Repair, Signature
from inspections.services.acts import finish_act
from inspections.services.amending import locked_signed
from inspections.signing import require_time, sign
from inspections.standing import publish_standing, refold_defects

HEAT_MENDED_FACT = "inspections.heat_mended"
"""Unit fact: the item whose repair changed how the unit keeps or makes heat; learning begins anew from its time."""
HEAT_ITEMS = frozenset({"doors", "insulation", "vents", "drains", "floor", "coil", "coolant", "belt", "warming"})


def sign_repair(fleet: Fleet, pk: int, repair: Mapping[str, Any], *, by: Member, now: datetime) -> Repair:
    """Records and signs what was done about a defect that inspection *pk* observed.

    *repair*: `observation` (its id), `kind`, `what_done`, `parts`, `done_by`, `performed_at`, `signature`. The item
    still has to be looked at again before the unit may leave. *Raises* InvalidInput, Conflict.
    """

    def work() -> Repair:
        with transaction.atomic():
            inspection, unit = locked_signed(fleet, pk)
            observation = _defect_of(inspection, repair["observation"])
            performed_at = repair.get("performed_at") or now
            require_time(performed_at, now=now)
            if performed_at < inspection.performed_at:
                raise InvalidInput.at("/performed_at", "out-of-order", "A repair follows the inspection.")
            _require_open(unit, observation)
            row = _store(unit, observation, repair, performed_at, by=by, now=now)
            refold_defects(unit, [observation.item])
            publish_standing(unit, now=now)
            if row.kind == Repair.Kind.REPAIRED and row.item in HEAT_ITEMS:
                record_facts({unit.pk: {HEAT_MENDED_FACT: row.item}}, at=performed_at, source="inspections")
            content = {
                "inspection": inspection.pk, "item": row.item, "kind": str(row.kind), "what_done": row.what_done,
                "content_hash": row.content_hash,
            }  # fmt: skip
            finish_act(by, act=f"defect.{row.kind}", subject=row, unit=unit, now=now, content=content)
            return row

    return on_conflict(work)


def _defect_of(inspection: Inspection, observation_id: int) -> Observation:
    found: Observation | None = (
        Observation.objects.for_fleet(inspection.fleet_id)
        .filter(pk=observation_id, inspection=inspection, outcome=Observation.Outcome.DEFECT)
        .first()
    )
    if found is None:
        raise InvalidInput.at("/observation", "not-a-defect", "The inspection has no defect of this id.")
    return found


def _require_open(unit: Unit, observation: Observation) -> None:
    live = (Defect.State.OPEN, Defect.State.REPAIRED)
    rows = Defect.objects.for_fleet(unit.fleet_id).filter(unit=unit, item=observation.item, state__in=live)
    if not rows.exists():
        raise Conflict("This defect is closed already.")


def _store(
    unit: Unit,
    observation: Observation,
    repair: Mapping[str, Any],
    performed_at: datetime,
    *,
    by: Member,
    now: datetime,
) -> Repair:
    row = Repair.objects.create(
        fleet_id=unit.fleet_id,
        observation=observation,
        unit=unit,
        item=observation.item,
        kind=repair["kind"],
        what_done=repair["what_done"],
        parts=list(repair.get("parts") or []),
        done_by=repair.get("done_by") or str(by),
        performed_at=performed_at,
        recorded_at=now,
    )
    sign(by, meaning=Signature.Meaning.REPAIRED, given=repair["signature"], now=now, repair=row)
    row.content_hash = content_hash(repair_content(row))
    row.save(update_fields=["content_hash"])
    return row
