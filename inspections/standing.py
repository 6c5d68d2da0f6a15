"""What all signed records of a unit come to: its defects, its pre-trip standing, its measured facts.

Written in the transaction of every act that changes one of them, with the unit's state locked by the caller. What
readiness needs is published whole, so that its check reads no rows of ours.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime
from typing import Any

from fleet.clock import stamp, text_of
from fleet.models import Unit
from fleet.units.state import lock_states, put_facts, record_facts, save_facts
from inspections.defects import Looked, Mended, fold
from inspections.measures import FACT_NAMES, facts_from
from inspections.models import Defect, Inspection, Observation, Repair, ServiceRecord, Signature
from inspections.selectors import newest_pre_trip

PRE_TRIP_FACT = "inspections.pre_trip"
IN_PROGRESS_FACT = "inspections.in_progress"
SOURCE = "inspections"


def refold_defects(unit: Unit, items: Collection[str]) -> None:
    """Brings the defect rows of these items in line with everything that is signed about them."""
    rows = Observation.objects.for_fleet(unit.fleet_id).filter(
        unit=unit, item__in=items, inspection__state=Inspection.State.SIGNED
    )
    bad = set(rows.filter(outcome=Observation.Outcome.DEFECT).values_list("item", flat=True))
    bad |= set(Defect.objects.for_fleet(unit.fleet_id).filter(unit=unit, item__in=items).values_list("item", flat=True))
    if not bad:
        return
    seen = rows.filter(item__in=bad).exclude(outcome=Observation.Outcome.NOT_SEEN).select_related("inspection")
    mended = Repair.objects.for_fleet(unit.fleet_id).filter(unit=unit, item__in=bad)
    for item in sorted(bad):
        of_item = [row for row in seen if row.item == item]
        events: list[Looked | Mended] = [
            Looked(row.inspection.performed_at, row.pk, row.outcome, row.blocks) for row in of_item
        ]
        events += [Mended(row.performed_at, row.pk) for row in mended if row.item == item]
        _store_defects(unit, item, events, {row.pk: row for row in of_item})


def _store_defects(unit: Unit, item: str, events: Iterable[Looked | Mended], by_id: dict[int, Observation]) -> None:
    episodes = fold(events)
    for one in episodes:
        first = by_id[one.opened_by]
        Defect.objects.for_fleet(unit.fleet_id).update_or_create(
            opened_by=first,
            defaults={
                "fleet_id": unit.fleet_id,
                "unit": unit,
                "item": item,
                "label": first.label,
                "blocks": one.blocks,
                "state": one.state,
                "opened_at": one.opened_at,
                "seen_at": one.seen_at,
                "engine_hours_h": first.inspection.engine_hours_h,
                "repair_id": one.repair,
                "repaired_at": one.repaired_at,
                "closed_by_id": one.closed_by,
                "closed_at": one.closed_at,
            },
        )
    Defect.objects.for_fleet(unit.fleet_id).filter(unit=unit, item=item).exclude(
        opened_by_id__in=[one.opened_by for one in episodes]
    ).update(state=Defect.State.WITHDRAWN)


def open_defects(unit: Unit) -> list[Defect]:
    """Defects that still have to be repaired or looked at again, oldest first."""
    rows = Defect.objects.for_fleet(unit.fleet_id).filter(
        unit=unit, state__in=(Defect.State.OPEN, Defect.State.REPAIRED)
    )
    return list(rows.select_related("opened_by").order_by("opened_at", "pk"))


def summary_of(unit: Unit) -> tuple[dict[str, Any], datetime | None]:
    """The pre-trip standing of a unit as one document, and when somebody last looked."""
    newest = newest_pre_trip(unit.pk)
    rechecks = [] if newest is None else list(
        newest.rechecks.filter(state=Inspection.State.SIGNED).order_by("performed_at", "pk")
    )  # fmt: skip
    work = ServiceRecord.objects.for_fleet(unit.fleet_id).filter(unit=unit).order_by("-performed_at").first()
    summary: dict[str, Any] = {
        "inspection": newest and newest.pk,
        "sheet": newest and str(newest.sheet),
        "result": newest and str(newest.result),
        "performed_at": newest and text_of(newest.performed_at),
        "unseen": [],
        "wear": [],
        "defects": [_defect_document(row) for row in open_defects(unit)],
        "work_at": work and text_of(work.performed_at),
        "signed_at": _last_signature(unit),
    }  # fmt: skip
    if newest is None:
        return summary, None
    outcomes = _outcomes([newest, *rechecks])
    summary["unseen"] = [row.label for row in outcomes if _unseen(row)]
    summary["wear"] = [row.label for row in outcomes if row.outcome == Observation.Outcome.WEAR]
    return summary, max(row.performed_at for row in [newest, *rechecks])


def _defect_document(row: Defect) -> dict[str, Any]:
    return {
        "id": row.pk,
        "item": row.item,
        "label": row.label,
        "note": row.opened_by.note,
        "blocks": row.blocks,
        "state": str(row.state),
        "inspection": row.opened_by.inspection_id,
        "observation": row.opened_by_id,
    }


def _unseen(row: Observation) -> bool:
    return row.outcome == Observation.Outcome.NOT_SEEN and not row.if_fitted


def _outcomes(inspections: Iterable[Inspection]) -> list[Observation]:
    """The newest look at each item of a pre-trip inspection and its re-checks, in walking order."""
    newest: dict[str, Observation] = {}
    for inspection in inspections:
        for row in inspection.observations.all():
            if row.item not in newest or row.outcome != Observation.Outcome.NOT_SEEN:
                newest[row.item] = row
    return sorted(newest.values(), key=lambda row: row.position)


def _last_signature(unit: Unit) -> str | None:
    """Server time of the newest signature under a pre-trip inspection or a re-check of the unit that still stands."""
    kinds = (Inspection.Kind.PRE_TRIP, Inspection.Kind.RECHECK)
    newest = (
        Signature.objects.for_fleet(unit.fleet_id)
        .filter(inspection__unit=unit, inspection__state=Inspection.State.SIGNED, inspection__kind__in=kinds)
        .order_by("-server_at")
        .values_list("server_at", flat=True)
        .first()
    )
    return None if newest is None else text_of(newest)


def publish_standing(unit: Unit, *, now: datetime) -> bool:
    """Publishes the pre-trip standing; says whether it is another answer than before, apart from signatures."""
    before = lock_states([unit.pk])[unit.pk].facts.get(PRE_TRIP_FACT, [None])[0]
    summary, looked_at = summary_of(unit)
    put_facts({unit.pk: {PRE_TRIP_FACT: summary}}, at=looked_at or now, source=SOURCE)
    return before is None or any(before.get(name) != summary[name] for name in ("unseen", "wear", "defects", "result"))


def publish_progress(unit: Unit, *, now: datetime) -> None:
    """Publishes whether somebody is inspecting the unit right now: the newest draft, if there is one."""
    draft = (
        Inspection.objects.for_fleet(unit.fleet_id)
        .filter(unit=unit, state=Inspection.State.DRAFT)
        .order_by("-started_at", "-pk")
        .first()
    )
    value = {"inspection": draft.pk, "started_at": text_of(draft.started_at)} if draft else False
    put_facts({unit.pk: {IN_PROGRESS_FACT: value}}, at=draft.started_at if draft else now, source=SOURCE)


def source_of(inspection: Inspection) -> str:
    """Padded, so that a later record of the same moment wins by text order."""
    return f"{SOURCE}/{inspection.pk:012d}"


def record_measured(inspection: Inspection) -> None:
    """Publishes what was measured, at the moment it was measured: an older report never replaces a newer value."""
    facts = facts_from(inspection.observations.values_list("values", flat=True))
    if facts:
        record_facts({inspection.unit_id: facts}, at=inspection.performed_at, source=source_of(inspection))


def rebuild_measured(unit: Unit) -> None:
    """Takes measured facts again from all records that stand: for a correction, which may take a value back."""
    found: dict[str, list[Any]] = {}
    rows = (
        Observation.objects.for_fleet(unit.fleet_id)
        .filter(unit=unit, inspection__state=Inspection.State.SIGNED)
        .exclude(values={})
        .select_related("inspection")
        .order_by("inspection__performed_at", "inspection_id")
    )
    values: dict[int, tuple[Inspection, list[dict[str, Any]]]] = {}
    for row in rows:
        values.setdefault(row.inspection_id, (row.inspection, []))[1].append(row.values)
    for inspection, measured in values.values():
        at, source = stamp(inspection.performed_at), source_of(inspection)
        found |= {name: [value, at, source] for name, value in facts_from(measured).items()}
    state = lock_states([unit.pk])[unit.pk]
    state.facts = {name: entry for name, entry in state.facts.items() if name not in FACT_NAMES} | found
    save_facts([state])
