"""Proves that signed records still say what was signed: their content against the hash in the row and in the audit."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Model

from fleet.models import AuditEntry
from fleet.records.canonical import content_hash
from fleet.records.export import walk
from inspections.content import inspection_content, repair_content, service_content
from inspections.models import Inspection, Repair, ServiceRecord


@dataclass(frozen=True, slots=True)
class Altered:
    """One record that is not what was signed."""

    kind: str
    id: int
    words: str


def altered_records(fleet_id: int, *, looked_at: Callable[[], None] = lambda: None) -> Iterator[Altered]:
    """Every signed record of the fleet whose content, hash and audit entry do not agree. *looked_at* is called for
    each record."""
    for rows, content in signed_records(fleet_id):
        for row in walk(rows):
            yield from _compare(fleet_id, row, content)
            looked_at()


def signed_records(fleet_id: int) -> list[tuple[Any, Callable[[Any], dict[str, Any]]]]:
    """Every kind of signed record: its rows, and what of a row was signed."""
    signed = Inspection.objects.for_fleet(fleet_id).exclude(state=Inspection.State.DRAFT).select_related("sheet")
    return [
        (signed, inspection_content),
        (Repair.objects.for_fleet(fleet_id), repair_content),
        (ServiceRecord.objects.for_fleet(fleet_id), service_content),
    ]


def _compare(fleet_id: int, row: Any, content: Callable[[Any], dict[str, Any]]) -> Iterator[Altered]:
    kind = row._meta.model_name
    if content_hash(content(row)) != row.content_hash:
        yield Altered(kind, row.pk, "its content is not what was signed")
    elif row.content_hash not in _audited(fleet_id, kind, row):
        yield Altered(kind, row.pk, "its hash is not the one in the audit record")


def _audited(fleet_id: int, kind: str, row: Model) -> set[str]:
    entries = AuditEntry.objects.for_fleet(fleet_id).filter(object_type=kind, object_id=str(row.pk))
    return {content.get("content_hash") for content in entries.values_list("content", flat=True)}
