"""Writes audit entries: every act of a person (or of the service in its own name), in the act's transaction."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import Model

from fleet.http.context import current_request_id
from fleet.models import AuditEntry, Fleet, Member


def record_act(
    by: Member | None,
    *,
    act: str,
    subject: Model,
    at: datetime,
    content: Mapping[str, Any] | None = None,
) -> AuditEntry:
    """Writes one entry about *subject*, a row of one fleet or the fleet itself. *by* None is the service itself."""
    return AuditEntry.objects.create(
        fleet_id=subject.pk if isinstance(subject, Fleet) else subject.fleet_id,  # type: ignore[attr-defined]
        at=at,
        actor=by,
        actor_name=str(by) if by is not None else "service",
        act=act,
        object_type=str(subject._meta.model_name),
        object_id=str(subject.pk),
        content=dict(content or {}),
        request_id=current_request_id() or "",
    )
