"""The fleet's units, and each of them: what is known of it now, and how old that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Q
from django.http import HttpRequest, HttpResponse

from fleet.checks.service_due import due_on, hours_left
from fleet.checks.telemetry import age_limits
from fleet.ingest.fields import READING_FIELDS, Kind
from fleet.models import Fleet, PolicyRow, Trip, Unit
from fleet.pages.panels import shown_panels, unit_panels
from fleet.pages.views import PageView
from fleet.policy import Policy
from fleet.readiness.facts import UnitFacts
from fleet.trips.due import LIVE
from fleet.trips.selectors import unit_of

MOST = 300
TITLES = {
    "return_air_c": "Return air",
    "discharge_air_c": "Discharge air",
    "set_point_c": "Set point",
    "ambient_c": "Outside air",
    "cargo_c": "Load",
    "coolant_c": "Coolant",
    "fuel_l": "Fuel",
    "battery_v": "Battery",
    "engine_hours_h": "Engine hours",
    "speed_km_h": "Speed",
    "heater_running": "Heater running",
    "unit_on": "Unit switched on",
    "door_open": "Doors open",
}
KINDS = {field.name: field.kind for field in READING_FIELDS}


@dataclass(frozen=True, slots=True)
class Line:
    """One value of a unit with its own time and source."""

    title: str
    value: Any
    unit: str
    at: datetime
    source: str
    old: bool
    """Older than the policy lets a reading be before it says nothing of now."""


def state_lines(unit: UnitFacts, policy: Policy, *, now: datetime) -> list[Line]:
    """Every measured value in the order of the fields, with its age judged by the fleet's policy."""
    _, hard, _ = age_limits(unit, policy)
    return [
        Line(title, known.value, _unit_of(name), known.at, known.source, known.age(now) >= hard)
        for name, title in TITLES.items()
        if (known := unit.values.get(name)) is not None
    ]


def _unit_of(name: str) -> str:
    kind = KINDS[name]
    return "" if kind is Kind.FLAG else str(kind)


@dataclass(frozen=True, slots=True)
class Service:
    """When the next service is due."""

    left_h: float | None
    day: date | None
    last_on: date | None
    last_at_h: float | None
    planned: bool
    overdue: bool
    """By its date."""

    @property
    def over_h(self) -> float:
        return max(-(self.left_h or 0.0), 0.0)


def service_of(unit: UnitFacts, *, today: date) -> Service:
    planned = unit.design["service_every_h"] is not None or unit.design["service_every_months"] is not None
    day = due_on(unit)
    overdue = day is not None and day < today
    return Service(hours_left(unit), day, unit.serviced_on, unit.serviced_at_h, planned, overdue)


def trips_of_units(fleet: Fleet, unit_ids: Sequence[int]) -> dict[int, list[Trip]]:
    """The present and next trips of these units, nearest departure first; one statement."""
    mine = Q(assigned_unit__in=unit_ids) | Q(assigned_unit__isnull=True, planned_unit__in=unit_ids)
    rows = Trip.objects.for_fleet(fleet).filter(mine, state__in=LIVE).defer("ambient", "loads", "stops")
    found: dict[int, list[Trip]] = {}
    for trip in rows.order_by("depart_at", "pk"):
        found.setdefault(trip.unit_id or 0, []).append(trip)
    return found


class UnitsView(PageView):
    """All units at a glance."""

    template = "fleet/units.html"
    section = "fleet.units"

    def get(self, request: HttpRequest) -> HttpResponse:
        text = request.GET.get("q", "").strip()[:40]
        rows = Unit.objects.for_fleet(self.fleet).select_related("model", "state")
        if text:
            rows = rows.filter(number__icontains=text)
        units = list(rows.order_by("number")[: MOST + 1])
        policy = policy_of(self.fleet)
        trips = trips_of_units(self.fleet, [unit.pk for unit in units])
        listed = []
        for unit in units[:MOST]:
            facts = UnitFacts.from_rows(unit, unit.model, unit.state)
            old = facts.newest_at is not None and self.now - facts.newest_at >= age_limits(facts, policy)[1]
            listed.append((unit, facts.values, facts.newest_at, old, next(iter(trips.get(unit.pk, ())), None)))
        context = {"units": listed, "text": text, "more": len(units) > MOST}
        return self.page(context)


class UnitView(PageView):
    """One unit."""

    template = "fleet/unit.html"
    section = "fleet.units"

    def get(self, request: HttpRequest, number: str) -> HttpResponse:
        unit = unit_of(self.fleet.pk, number)
        facts = UnitFacts.from_rows(unit, unit.model, unit.state)
        lines = state_lines(facts, policy_of(self.fleet), now=self.now)
        sources = {line.source for line in lines}
        panels = shown_panels(unit_panels, request, unit, self.now)
        context = {
            "unit": unit,
            "newest_at": facts.newest_at,
            "lines": lines,
            "one_source": next(iter(sources)) if len(sources) == 1 else "",
            "service": service_of(facts, today=self.reader.local(self.now).date()),
            "trips": trips_of_units(self.fleet, [unit.pk]).get(unit.pk, [])[:5],
            "beside": [panel for panel in panels if not panel.wide],
            "below": [panel for panel in panels if panel.wide],
        }
        return self.page(context)


def policy_of(fleet: Fleet) -> Policy:
    """The fleet's thresholds; one statement."""
    row = PolicyRow.objects.get(fleet=fleet)
    return Policy(row.overrides, version=row.version)
