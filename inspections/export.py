"""Which records can be taken out as files, and with which columns."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db.models import Model, QuerySet

from fleet.models import AuditEntry, Fleet, Role
from fleet.records.export import Column, column
from inspections.models import Defect, Inspection, Observation, Repair, ServiceRecord, Signature


def _signer(row: Any) -> str:
    return "; ".join(f"{one.name} ({one.role}, {one.meaning})" for one in row.signatures.all())


SIGNED_BY = Column("signed_by", _signer)


@dataclass(frozen=True, slots=True)
class Export:
    """One kind of record as a file."""

    model: type[Model]
    columns: tuple[Column, ...]
    at: str
    """Field that `since` and `until` speak of."""
    unit: str | None = "unit__number"
    joins: tuple[str, ...] = ()
    prefetch: tuple[str, ...] = ()
    roles: frozenset[str] = frozenset(Role)
    narrow: Callable[[QuerySet[Any]], QuerySet[Any]] = lambda rows: rows

    def rows(self, fleet: Fleet) -> QuerySet[Any]:
        rows = self.narrow(self.model.objects.for_fleet(fleet))  # type: ignore[attr-defined]
        return rows.select_related(*self.joins).prefetch_related(*self.prefetch) if self.joins else rows


def _plain(*paths: str) -> tuple[Column, ...]:
    return tuple(column(path) for path in paths)


EXPORTS: dict[str, Export] = {
    "inspections": Export(
        model=Inspection,
        columns=(
            *_plain("id", "unit.number", "sheet.key", "sheet.version", "kind", "state", "result", "performed_at"),
            *_plain("signed_at", "arrival", "engine_hours_h", "trip.reference", "reviewed_id", "refers_to_id"),
            *_plain("supersedes_id", "reason", "content_hash"),
            SIGNED_BY,
        ),
        at="performed_at",
        joins=("unit", "sheet", "trip"),
        prefetch=("signatures",),
    ),
    "observations": Export(
        model=Observation,
        columns=(
            *_plain("id", "unit.number", "inspection_id", "inspection.kind", "inspection.performed_at", "item"),
            *_plain("label", "outcome", "blocks", "note", "values", "inspection.engine_hours_h"),
        ),
        at="inspection__performed_at",
        joins=("unit", "inspection"),
        narrow=lambda rows: rows.filter(inspection__state=Inspection.State.SIGNED),
    ),
    "defects": Export(
        model=Defect,
        columns=(
            *_plain("id", "unit.number", "item", "label", "opened_by.note", "blocks", "state", "opened_at", "seen_at"),
            *_plain("engine_hours_h", "repaired_at", "repair_id", "closed_at"),
        ),
        at="opened_at",
        joins=("unit", "opened_by"),
    ),
    "repairs": Export(
        model=Repair,
        columns=(
            *_plain("id", "unit.number", "observation.inspection_id", "observation_id", "item", "kind", "what_done"),
            *_plain("parts", "done_by", "performed_at", "recorded_at", "content_hash"),
            SIGNED_BY,
        ),
        at="performed_at",
        joins=("unit", "observation"),
        prefetch=("signatures",),
    ),
    "services": Export(
        model=ServiceRecord,
        columns=(
            *_plain("id", "unit.number", "performed_at", "engine_hours_h", "what_done", "done_by", "recorded_at"),
            *_plain("content_hash"),
            SIGNED_BY,
        ),
        at="performed_at",
        joins=("unit",),
        prefetch=("signatures",),
    ),
    "signatures": Export(
        model=Signature,
        columns=_plain(
            "id", "inspection_id", "repair_id", "service_id", "meaning", "name", "role", "server_at", "device_at"
        ),
        at="server_at",
        unit=None,
    ),
    "audit": Export(
        model=AuditEntry,
        columns=_plain(
            "id",
            "seq",
            "at",
            "actor_name",
            "act",
            "object_type",
            "object_id",
            "content",
            "request_id",
            "prev_hash",
            "hash",
        ),
        at="at",
        unit=None,
        roles=frozenset({Role.MANAGER}),
    ),
}
