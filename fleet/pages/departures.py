"""Today's and tomorrow's departures: what may leave, what may not, and why."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from fleet.models import Trip
from fleet.pages.views import PageView


class DeparturesView(PageView):
    template = "fleet/departures.html"
    section = "fleet.departures"

    def get(self, request: HttpRequest) -> HttpResponse:
        trips = Trip.objects.for_fleet(self.fleet).filter(state=Trip.State.PLANNED).order_by("depart_at")
        return self.page({"trips": trips[:100]})
