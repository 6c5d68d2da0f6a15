"""Writes sheets: a change is a new version; the old ones stay for the inspections that used them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max

from fleet.errors import Conflict, FieldError, InvalidInput
from fleet.models import Fleet, Member, UnitModel
from fleet.readiness.facts import DESIGN_FIELDS
from fleet.records.audit import record_act
from inspections.builtin import sheet_hash
from inspections.measures import BY_NAME
from inspections.models import Sheet


class VersionTaken(Conflict):
    """Somebody else stored a version at the same moment; repeat the request."""


def publish_sheet(fleet: Fleet, given: Mapping[str, Any], *, by: Member, now: datetime) -> Sheet:
    """Stores the next version of a sheet of the fleet. *Raises* InvalidInput, VersionTaken."""
    groups = stored_groups(given["groups"])
    if not _is_key(given["key"]):
        raise InvalidInput.at("/key", "bad-key", "A key is small letters, digits, dashes and underscores.")
    with transaction.atomic():
        rows = Sheet.objects.for_fleet(fleet).filter(key=given["key"])
        if rows.exclude(kind=given["kind"]).exists():
            raise InvalidInput.at("/kind", "kind-changed", "A sheet keeps its kind; choose another key.")
        newest = rows.aggregate(newest=Max("version"))["newest"] or 0
        document = {"kind": given["kind"], "title": given["title"], "intro": given["intro"], "groups": groups}
        row = Sheet(
            fleet=fleet,
            key=given["key"],
            version=newest + 1,
            unit_model=_model(fleet, given.get("unit_model")),
            content_hash=sheet_hash(document),
            created_by=by,
            **document,
        )
        try:
            with transaction.atomic():
                row.save(force_insert=True)
        except IntegrityError as error:
            raise VersionTaken("Another version was stored at the same moment; repeat the request.") from error
        content = {"sheet": str(row), "content_hash": row.content_hash}
        record_act(by, act="sheet.published", subject=row, at=now, content=content)
        return row


def _model(fleet: Fleet, key: str | None) -> UnitModel | None:
    if key is None:
        return None
    model: UnitModel | None = UnitModel.objects.for_fleet(fleet).filter(key=key).first()
    if model is None:
        raise InvalidInput.at("/unit_model", "unknown-model", "There is no such unit model.")
    return model


def stored_groups(groups: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Groups as they are stored. *Raises* InvalidInput for keys used twice and limits nobody can state."""
    faults: list[FieldError] = []
    known: set[str] = set()
    stored = []
    for g, group in enumerate(groups):
        items = []
        for i, item in enumerate(group["items"]):
            at = f"/groups/{g}/items/{i}"
            if item["key"] in known or not _is_key(item["key"]):
                faults.append(FieldError(f"{at}/key", "bad-key", "Keys are small letters and digits, each used once."))
            known.add(item["key"])
            measures = [_measure(one, f"{at}/measures/{m}", faults) for m, one in enumerate(item.get("measures", ()))]
            items.append({**item, "measures": measures})
        stored.append({**group, "items": items})
    if faults:
        raise InvalidInput(errors=faults)
    return stored


def _is_key(text: str) -> bool:
    return text.replace("_", "").replace("-", "").isalnum() and text.isascii() and text == text.lower()


def _measure(given: Mapping[str, Any], at: str, faults: list[FieldError]) -> dict[str, Any]:
    """One measured value with its limits: a number, or the name of a design value."""
    measure = {name: given[name] for name in ("name", "required", "per_12v", "count")}
    for side in ("low", "high"):
        number, design = given.get(side), given.get(f"{side}_design")
        if design is not None and design not in DESIGN_FIELDS:
            faults.append(FieldError(f"{at}/{side}_design", "unknown-design-value", "No unit model has this value."))
        if design is not None and number is not None:
            faults.append(FieldError(f"{at}/{side}", "contradiction", "Give a number or a design value, not both."))
        named = {side: number, f"{side}_design": design}
        measure |= {name: limit for name, limit in named.items() if limit is not None}
    if given["count"] > 1 and not BY_NAME[given["name"]].many:
        faults.append(FieldError(f"{at}/count", "contradiction", "Only lists of values are counted."))
    return measure | ({"source": given["source"]} if given.get("source") else {})
