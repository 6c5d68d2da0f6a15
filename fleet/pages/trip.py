"""One trip: may it leave, why, and what would make it so."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from fleet.pages.panels import shown_panels, trip_panels
from fleet.pages.views import PageView
from fleet.trips.selectors import trip_of


class TripView(PageView):
    template = "fleet/trip.html"
    section = "fleet.departures"

    def get(self, request: HttpRequest, reference: str) -> HttpResponse:
        trip = trip_of(self.fleet.pk, reference)
        return self.page({"trip": trip, "panels": shown_panels(trip_panels, request, trip, self.now)})
