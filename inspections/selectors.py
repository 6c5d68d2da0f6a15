"""Reads of sheets and inspections."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import F, Q, QuerySet

from fleet.errors import NotFound
from fleet.models import Fleet, Unit
from fleet.readiness.facts import DESIGN_FIELDS
from inspections.form import Item, items_of
from inspections.models import Inspection, Sheet

REPORTS = (Inspection.Kind.PRE_TRIP, Inspection.Kind.POST_TRIP)
"""Kinds the next inspector has to review."""


def sheets_of(fleet: Fleet | int) -> QuerySet[Sheet]:
    """Own sheets and the built-in ones that none of the fleet's own hides, every version."""
    rows: Any = Sheet.objects.across_fleets()
    fleet_id = fleet if isinstance(fleet, int) else fleet.pk
    own = rows.filter(fleet_id=fleet_id).values("key")
    return rows.filter(Q(fleet_id=fleet_id) | (Q(fleet__isnull=True) & ~Q(key__in=own)))


def newest_sheets(fleet: Fleet) -> list[Sheet]:
    """One sheet of each key, the newest that is not of a single unit model where there is one; by key."""
    rows = sheets_of(fleet).order_by("key", F("unit_model").asc(nulls_first=True), "-version")
    newest: dict[str, Sheet] = {}
    for row in rows:
        newest.setdefault(row.key, row)
    return list(newest.values())


def sheet_for(fleet: Fleet, unit: Unit, key: str, *, version: int | None = None) -> Sheet:
    """The sheet of this key for this unit: the newest of the unit's model, else of the fleet, else the built-in one.

    A version that is asked for is found even after a newer one: a form may have been filled offline. *Raises* NotFound.
    """
    rows = Sheet.objects.across_fleets().filter(
        Q(fleet=fleet) | Q(fleet__isnull=True), Q(unit_model=unit.model_id) | Q(unit_model__isnull=True), key=key
    )
    if version is not None:
        rows = rows.filter(version=version)
    ranked = sorted(rows, key=lambda row: (row.fleet_id is None, row.unit_model_id is None, -row.version))
    if not ranked:
        raise NotFound(f"There is no sheet {key!r}" + (f" of version {version}." if version else "."))
    return ranked[0]


def form_items(sheet: Sheet, unit: Unit) -> dict[str, Item]:
    """The sheet's items with the limits of the unit's model."""
    return items_of(sheet.groups, design={name: getattr(unit.model, name) for name in DESIGN_FIELDS})


def inspection_of(fleet_id: int, pk: int) -> Inspection:
    """*Raises* NotFound."""
    row: Inspection | None = (
        Inspection.objects.for_fleet(fleet_id).select_related("unit__model", "sheet", "trip").filter(pk=pk).first()
    )
    if row is None:
        raise NotFound("There is no such inspection.")
    return row


def last_report(unit_id: int, *, before: datetime, known_by: datetime, without: int | None = None) -> Inspection | None:
    """The newest signed report of the unit that a person looking at *before* could have read: it was on the service
    by *known_by*."""
    rows = Inspection.objects.across_fleets().filter(
        unit_id=unit_id,
        kind__in=REPORTS,
        state=Inspection.State.SIGNED,
        performed_at__lte=before,
        signed_at__lte=known_by,
    )
    if without is not None:
        rows = rows.exclude(pk=without)
    found: Inspection | None = rows.order_by("-performed_at", "-id").first()
    return found


def newest_pre_trip(unit_id: int) -> Inspection | None:
    """The signed pre-trip inspection that was performed last."""
    found: Inspection | None = (
        Inspection.objects.across_fleets()
        .select_related("sheet")
        .filter(unit_id=unit_id, kind=Inspection.Kind.PRE_TRIP, state=Inspection.State.SIGNED)
        .order_by("-performed_at", "-id")
        .first()
    )
    return found
