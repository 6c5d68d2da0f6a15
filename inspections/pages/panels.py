"""What inspections say on the pages of a trip and of a unit, and their word in the navigation."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpRequest

from fleet.models import Member, Trip, Unit
from fleet.pages.panels import NavEntry, Rendered, TripPanel, UnitPanel, nav, trip_panels, unit_panels
from inspections.models import Inspection
from inspections.standing import open_defects
from inspections.views import INSPECTORS


def register() -> None:
    """Called once, when the app is ready."""
    nav.add(NavEntry("inspections.inspections", "Inspections", "page-inspections", 30))
    trip_panels.add(TripPanel("inspections.latest", 60, "Inspection", _of_trip))
    unit_panels.add(UnitPanel("inspections.latest", 40, "Inspections", _of_unit))


def _of_trip(request: HttpRequest, trip: Trip, now: datetime) -> Rendered | None:
    unit = trip.assigned_unit or trip.planned_unit
    return None if unit is None else _rendered(request, unit, trip=trip, most=1)


def _of_unit(request: HttpRequest, unit: Unit, now: datetime) -> Rendered | None:
    return _rendered(request, unit, trip=None, most=5)


def _rendered(request: HttpRequest, unit: Unit, *, trip: Trip | None, most: int) -> Rendered:
    rows = Inspection.objects.for_fleet(unit.fleet_id).filter(unit=unit).exclude(state=Inspection.State.SUPERSEDED)
    if trip is not None:
        rows = rows.exclude(state=Inspection.State.DRAFT)
    newest = rows.select_related("sheet").prefetch_related("signatures").order_by("-performed_at", "-pk")[:most]
    member: Any = request.user
    context = {
        "inspected": unit,
        "inspections": list(newest),
        "defects": open_defects(unit),
        "for_trip": trip,
        "may_inspect": isinstance(member, Member) and member.role in INSPECTORS,
    }
    return Rendered("inspections/_latest.html", context)
