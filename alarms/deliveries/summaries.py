"""The one message that stands for many when a person would get too many within an hour."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from alarms.models import OPEN_STATES, Delivery, Kind, NoticeSubject
from alarms.notices.messages import alarm_document, hold_document
from fleet.clock import text_of
from fleet.models import Fleet, Hold
from fleet.readiness.document import CAUTION


def summary_document(summary: Delivery, *, now: datetime) -> dict[str, Any]:
    """Every open hold and every alarm that is being told, and what ended among the lines. Made when it leaves."""
    fleet = Fleet.objects.get(pk=summary.fleet_id)
    zone = ZoneInfo(fleet.time_zone)
    kinds = set(summary.route.kinds) if summary.route else set(Kind.values)
    lines = list(summary.lines.exclude(state=Delivery.State.CANCELLED).order_by("pk"))
    return {
        "made_at": text_of(now),
        "messages": len(lines),
        "holds": _holds(fleet, zone) if Kind.HOLD in kinds else [],
        "alarms": _alarms(fleet, zone) if Kind.ALARM in kinds else [],
        "ended": [line.document for line in lines if line.purpose == Delivery.Purpose.CLOSE],
        "caution": CAUTION,
    }


def _holds(fleet: Fleet, zone: ZoneInfo) -> list[dict[str, Any]]:
    rows = Hold.objects.for_fleet(fleet).filter(state=Hold.State.OPEN).select_related("trip", "unit", "released_by")
    return [
        hold_document(hold, zone=zone) | {"unit": hold.unit.number} for hold in rows.order_by("trip__depart_at", "pk")
    ]


def _alarms(fleet: Fleet, zone: ZoneInfo) -> list[dict[str, Any]]:
    rows = (
        NoticeSubject.objects.for_fleet(fleet)
        .filter(kind=Kind.ALARM, ended_at__isnull=True, alarm__state__in=OPEN_STATES)
        .select_related("alarm__unit", "alarm__signed_by", "trip")
    )
    return [
        alarm_document(subject, zone) | {"unit": subject.alarm.unit.number}
        for subject in rows.order_by("pk")
        if subject.alarm is not None
    ]
