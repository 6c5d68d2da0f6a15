"""What alarms say on the pages of a trip and of a unit, and on a trip's time axis."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.http import HttpRequest
from django.urls import reverse

from alarms.models import Alarm, Tier
from alarms.pages.letters import notices_of
from alarms.selectors import alarms_with_names
from alarms.views import KNOWERS, SIGNERS
from fleet.models import Member, Trip, Unit
from fleet.pages.panels import Mark, Rendered, TripMarks, TripPanel, UnitPanel, trip_marks, trip_panels, unit_panels

MOST = 30
BEFORE = timedelta(hours=12)
"""Faults so long before loading still belong on a trip's time axis."""
WORST_FIRST = {Tier.STOP: 0, Tier.ATTEND: 1, Tier.WATCH: 2}


def register() -> None:
    """Called once, when the app is ready."""
    trip_panels.add(TripPanel("alarms.open", 30, "Alarms of the unit", _of_trip))
    trip_panels.add(TripPanel("alarms.notices", 70, "Who was told", _notices))
    unit_panels.add(UnitPanel("alarms.open", 20, "Alarms", _of_unit))
    trip_marks.add(TripMarks("alarms.raised", raised_on))


def _of_trip(request: HttpRequest, trip: Trip, now: datetime) -> Rendered | None:
    unit = trip.assigned_unit or trip.planned_unit
    return None if unit is None else _open(request, unit, closed=0)


def _of_unit(request: HttpRequest, unit: Unit, now: datetime) -> Rendered | None:
    return _open(request, unit, closed=MOST)


def _open(request: HttpRequest, unit: Unit, *, closed: int) -> Rendered:
    rows = alarms_with_names(Alarm.objects.for_fleet(unit.fleet_id)).filter(unit=unit)
    still_open = list(rows.filter(open_rank=1).order_by("-raised_at", "-pk"))
    member = request.user
    role = member.role if isinstance(member, Member) else ""
    context = {
        "alarms_open": still_open,
        "alarms_closed": list(rows.filter(open_rank=0).order_by("-raised_at", "-pk")[:closed]) if closed else [],
        "may_see": role in KNOWERS,
        "may_sign": role in SIGNERS,
        "back": request.path,
    }
    return Rendered("alarms/_alarms.html", context)


def _notices(request: HttpRequest, trip: Trip, now: datetime) -> Rendered | None:
    told = notices_of(trip, request.user)
    return None if told is None else Rendered("alarms/_notices.html", told | {"back": request.path})


def raised_on(trip: Trip, now: datetime) -> list[Mark]:
    """Each fault of the trip's unit from a while before loading to the end of the trip."""
    if trip.unit_id is None:
        return []
    until = trip.delivered_at or trip.cancelled_at or trip.arrive_at
    rows = Alarm.objects.for_fleet(trip.fleet_id).filter(
        unit_id=trip.unit_id, raised_at__gte=trip.loading_at - BEFORE, raised_at__lte=max(until, now)
    )
    return [
        Mark(
            at=alarm.raised_at,
            until=alarm.returned_at,
            title=f"{alarm.tier.capitalize()}: {alarm.meaning}",
            text=f"{alarm.code}, {alarm.state}",
            kind="alarm" if alarm.tier == Tier.STOP else "fault",
            link=reverse("page-alarm", args=[alarm.pk]),
        )
        for alarm in rows.exclude(state=Alarm.State.VOIDED).order_by("-raised_at")[:MOST]
    ]
