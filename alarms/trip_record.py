"""Alarms of a trip's unit, and what people did about them, as a section of the trip record."""

from __future__ import annotations

from typing import Any

from django.db.models import Q

from alarms.models import Alarm
from alarms.selectors import alarms_with_names
from fleet.clock import text_of
from fleet.models import AuditEntry
from fleet.trip_records.own import ACTS_HEAD, ACTS_SHARES, entry_data, entry_row
from fleet.trip_records.sections import Content, Grid, Scope, Section, moment, sections


def register() -> None:
    sections.add(Section("alarms.alarms", 55, "Alarms of the unit during the trip", content))


def content(scope: Scope) -> Content:
    """Alarms that stood at any moment of the trip, with the acts on them in the audit chain."""
    rows = Alarm.objects.for_fleet(scope.trip.fleet_id).filter(unit=scope.unit, raised_at__lt=scope.until)
    during = rows.filter(Q(closed_at__isnull=True) | Q(closed_at__gte=scope.since))
    during = during.filter(Q(voided_at__isnull=True) | Q(voided_at__gte=scope.since))
    found = list(alarms_with_names(during).order_by("raised_at", "pk"))
    if not found:
        return Content({"alarms": [], "acts": []}, ("No alarm stood during the trip.",))
    ids = [str(alarm.pk) for alarm in found]
    entries = AuditEntry.objects.for_fleet(scope.trip.fleet_id).filter(object_type="alarm", object_id__in=ids)
    acts = list(entries.order_by("id"))
    head = ("raised", "alarm", "tier", "returned", "state", "work done, or why it was voided")
    table = Grid(head, tuple(_row(alarm) for alarm in found), (1.3, 2.2, 0.6, 1.3, 0.8, 1.8))
    grids = (table, Grid(ACTS_HEAD, tuple(entry_row(act) for act in acts), ACTS_SHARES)) if acts else (table,)
    data = {"alarms": [_entry(alarm) for alarm in found], "acts": [entry_data(act) for act in acts]}
    return Content(data, (), grids)


def _row(alarm: Alarm) -> tuple[str, ...]:
    return (
        moment(alarm.raised_at),
        f"{alarm.code}: {alarm.meaning}",
        str(alarm.tier),
        moment(alarm.returned_at),
        str(alarm.state),
        alarm.work_done or alarm.void_reason,
    )


def _entry(alarm: Alarm) -> dict[str, Any]:
    def text(at: Any) -> str | None:
        return None if at is None else text_of(at)

    return {
        "id": alarm.pk,
        "code": alarm.code,
        "tier": str(alarm.tier),
        "meaning": alarm.meaning,
        "state": str(alarm.state),
        "raised_at": text(alarm.raised_at),
        "returned_at": text(alarm.returned_at),
        "closed_at": text(alarm.closed_at),
        "seen_at": text(alarm.seen_at),
        "seen_by": str(alarm.seen_by or ""),
        "signed_at": text(alarm.signed_at),
        "signed_by": str(alarm.signed_by or ""),
        "work_done": alarm.work_done,
        "void_reason": alarm.void_reason,
    }
