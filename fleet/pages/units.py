"""The fleet's units, and each of them."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from fleet.models import Unit
from fleet.pages.panels import shown_panels, unit_panels
from fleet.pages.views import PageView
from fleet.trips.selectors import unit_of


class UnitsView(PageView):
    template = "fleet/units.html"
    section = "fleet.units"

    def get(self, request: HttpRequest) -> HttpResponse:
        units = Unit.objects.for_fleet(self.fleet).select_related("model", "state").order_by("number")
        return self.page({"units": units})


class UnitView(PageView):
    template = "fleet/unit.html"
    section = "fleet.units"

    def get(self, request: HttpRequest, number: str) -> HttpResponse:
        unit = unit_of(self.fleet.pk, number)
        return self.page({"unit": unit, "panels": shown_panels(unit_panels, request, unit, self.now)})
