"""Alarms as marks on charts."""

from __future__ import annotations

from datetime import datetime

from alarms.models import Alarm
from fleet.charts.picture import Mark
from fleet.charts.registry import MarkSource, mark_sources

MOST = 40
"""Of one chart; the most recent ones, because more cannot be read."""


def register() -> None:
    mark_sources.add(MarkSource("alarms.raised", alarm_marks))


def alarm_marks(unit_id: int, since: datetime, until: datetime) -> list[Mark]:
    """Each alarm that was raised in the span and not voided."""
    rows = Alarm.objects.across_fleets().filter(unit_id=unit_id, raised_at__gte=since, raised_at__lt=until)
    found = rows.exclude(state=Alarm.State.VOIDED).order_by("-raised_at", "-pk").values_list("code", "raised_at")
    return [Mark("alarm", code, raised_at.timestamp()) for code, raised_at in reversed(found[:MOST])]
