"""What a person needs in front of them to inspect one unit: the sheet with this unit's limits, what is carried over
from earlier, open alarms, and the report to review."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fleet.models import Fleet, Unit
from fleet.readiness.facts import DESIGN_FIELDS
from inspections.form import items_of
from inspections.models import Sheet
from inspections.reviews import report_document
from inspections.selectors import last_report, sheet_for
from inspections.standing import open_defects

ALARMS_FACT = "alarms.open"
LOOK_AT_FACT = "fleet.look_at"
"""Unit fact: items that readings ask to look at closely, each with why."""
DISCLAIMER = (
    "This sheet is patterned on written vehicle reports (49 CFR 396.11 and 396.13 list parts of vehicles and may not "
    "cover a cargo heater). Local codes, your carrier's rules and the maker's manual stand above it. Never bypass a "
    "safety device."
)


def form_document(fleet: Fleet, unit: Unit, key: str, *, now: datetime) -> dict[str, Any]:
    """The form of one sheet for one unit. *Raises* NotFound."""
    sheet = sheet_for(fleet, unit, key)
    carried: dict[str, list[dict[str, Any]]] = {}
    for defect in open_defects(unit):
        carried.setdefault(defect.item, []).append(
            {"id": defect.pk, "label": defect.label, "note": defect.opened_by.note, "blocks": defect.blocks,
             "state": str(defect.state), "opened_at": defect.opened_at, "inspection": defect.opened_by.inspection_id,
             "observation": defect.opened_by_id}
        )  # fmt: skip
    asked = {one["item"]: one["why"] for one in unit.state.facts.get(LOOK_AT_FACT, [[]])[0] or []}
    groups = _groups(sheet, {name: getattr(unit.model, name) for name in DESIGN_FIELDS}, carried, asked)
    report = last_report(unit.pk, before=now, known_by=now)
    return _head(sheet) | {
        "unit": unit.number,
        "groups": groups,
        "carried_elsewhere": [one for rows in carried.values() for one in rows],
        "open_alarms": unit.state.facts.get(ALARMS_FACT, [[]])[0] or [],
        "last_report": report_document(report) if report is not None else None,
    }


def blank_form(sheet: Sheet) -> dict[str, Any]:
    """The form of a sheet for a unit nothing is known of: no limits of a model, nothing carried over."""
    return _head(sheet) | {
        "unit": "",
        "groups": _groups(sheet, {}, {}, {}),
        "carried_elsewhere": [],
        "open_alarms": [],
        "last_report": None,
    }


def _head(sheet: Sheet) -> dict[str, Any]:
    return {
        "sheet": sheet.key,
        "sheet_version": sheet.version,
        "kind": str(sheet.kind),
        "title": sheet.title,
        "intro": sheet.intro,
        "caution": DISCLAIMER,
    }


def _groups(
    sheet: Sheet,
    design: Mapping[str, float | None],
    carried: dict[str, list[dict[str, Any]]],
    asked: Mapping[str, str],
) -> list[dict[str, Any]]:
    """The sheet's groups with limits as numbers; defects carried over stand at their items and leave *carried*."""
    items = items_of(sheet.groups, design=design)

    def shown(document: Mapping[str, Any]) -> dict[str, Any]:
        item = items[document["key"]]
        return {
            "key": item.key,
            "label": item.label,
            "look_for": document.get("look_for", ""),
            "caution": document.get("caution", ""),
            "blocks": item.blocks,
            "if_fitted": item.if_fitted,
            "measures": [
                {"name": one.name, "required": one.required, "low": one.low, "high": one.high, "count": one.count}
                for one in item.measures
            ],
            "carried": carried.pop(item.key, []),
            "look_closer": asked.get(item.key, ""),
        }

    return [
        {
            "key": group["key"],
            "title": group["title"],
            "caution": group.get("caution", ""),
            "items": [shown(document) for document in group["items"]],
        }
        for group in sheet.groups
    ]
