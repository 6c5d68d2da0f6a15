"""The inspections that a trip left on, as a section of the trip record: references and hashes, not the sheets."""

from __future__ import annotations

from typing import Any

from django.db.models import Q

from fleet.clock import text_of
from fleet.trip_records.sections import Content, Grid, Scope, Section, moment, sections
from inspections.models import Inspection

MOST = 20


def register() -> None:
    sections.add(Section("inspections.signed", 15, "Inspections", content))


def content(scope: Scope) -> Content:
    """The newest signed pre-trip inspection before departure, and every signed one that names the trip."""
    signed = Inspection.objects.for_fleet(scope.trip.fleet_id).filter(unit=scope.unit)
    signed = signed.exclude(state=Inspection.State.DRAFT).select_related("sheet").prefetch_related("signatures")
    left_at = scope.trip.departed_at or scope.until
    before = signed.filter(kind=Inspection.Kind.PRE_TRIP, performed_at__lte=left_at).order_by("-performed_at", "-pk")
    newest = before.values_list("pk", flat=True).first()
    rows = list(signed.filter(Q(pk=newest) | Q(trip=scope.trip)).order_by("performed_at", "pk")[:MOST])
    if not rows:
        return Content([], ("No signed inspection stands behind this trip.",))
    head = ("inspection", "performed", "result", "signed", "SHA-256 of what was signed")
    grid = Grid(head, tuple(_row(row) for row in rows), (1.2, 1.3, 0.9, 1.6, 2.4))
    return Content([_entry(row) for row in rows], (), (grid,))


def _row(row: Inspection) -> tuple[str, ...]:
    state = ", superseded" if row.state == Inspection.State.SUPERSEDED else ""
    return (
        f"{row.pk}, {row.kind.replace('_', '-')}, {row.sheet}",
        moment(row.performed_at),
        f"{row.result}{state}",
        "; ".join(f"{one.name} ({one.meaning}) {moment(one.server_at)}" for one in row.signatures.all()),
        row.content_hash,
    )


def _entry(row: Inspection) -> dict[str, Any]:
    return {
        "id": row.pk,
        "kind": str(row.kind),
        "sheet": str(row.sheet),
        "state": str(row.state),
        "result": str(row.result),
        "performed_at": text_of(row.performed_at),
        "signatures": [
            {"name": one.name, "role": one.role, "meaning": str(one.meaning), "at": text_of(one.server_at)}
            for one in row.signatures.all()
        ],
        "content_sha256": row.content_hash,
    }
