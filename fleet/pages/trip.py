"""One trip: may it leave, why, and what would make it so; now, or as it was answered at another time."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.http import HttpRequest, HttpResponse

from fleet.errors import Conflict
from fleet.models import Assessment, Hold, Role, Trip
from fleet.pages.answers import grouped, why
from fleet.pages.board import goods_of
from fleet.pages.course import course_of
from fleet.pages.panels import shown_panels, trip_panels
from fleet.pages.views import PageView
from fleet.readiness.document import history_document
from fleet.readiness.service import TripHasNoUnit, readiness
from fleet.trips.selectors import trip_of

HISTORY = 60
"""So many answers the page lists; any other is found by its time."""


class TripView(PageView):
    """`?at=` shows the answer that stood at that time; a script asks with `?seen=` whether there is a newer one."""

    template = "fleet/trip.html"
    section = "fleet.departures"

    def get(self, request: HttpRequest, reference: str) -> HttpResponse:
        trip = trip_of(self.fleet.pk, reference)
        if self.partial and "seen" in request.GET:
            return self._news(trip, request.GET["seen"])
        asked = self._asked(request.GET.get("at", ""))
        then = self._answer_at(trip, asked) if asked else None
        document = history_document(then) if then else None if asked else self._answer(trip)
        holds = list(
            Hold.objects.for_fleet(self.fleet).filter(trip=trip).select_related("unit", "released_by").order_by("-pk")
        )
        context = {
            "trip": trip,
            "unit": trip.assigned_unit or trip.planned_unit,
            "goods": goods_of(self.fleet, [trip])[trip.pk],
            "asked": asked,
            "answer": document,
            "why": why(document) if document else "",
            "findings": grouped(document["findings"]) if document else None,
            "open_holds": [(hold, is_releasable(hold)) for hold in holds if hold.state == Hold.State.OPEN],
            "other_holds": [hold for hold in holds if hold.state != Hold.State.OPEN],
            "may_release": self.member.role == Role.MANAGER,
            "history": self._history(trip),
            "course": course_of(trip, now=self.now),
            "panels": [] if asked else shown_panels(trip_panels, request, trip, self.now),
            "seen": self._state_of(trip),
        }
        return self.page(context)

    def _answer(self, trip: Trip) -> dict[str, Any] | None:
        """The answer as it stands now; None where no unit is named, or the trip ended without one."""
        try:
            return readiness(self.fleet.pk, trip.reference)
        except (TripHasNoUnit, Conflict):
            return None

    def _asked(self, text: str) -> datetime | None:
        """A time as the reader's form sends it: the minute in their own zone, or an instant from a link of ours."""
        try:
            at = datetime.fromisoformat(text)
        except ValueError:
            return None
        return (at if at.tzinfo else at.replace(tzinfo=self.reader.zone)).astimezone(UTC)

    def _answer_at(self, trip: Trip, at: datetime) -> Assessment | None:
        """The answer that stood then: the last one made up to the end of that minute."""
        rows = Assessment.objects.for_fleet(self.fleet).filter(trip=trip).select_related("trip", "unit")
        last = at.replace(second=59, microsecond=999_999) if at.second == 0 and at.microsecond == 0 else at
        found: Assessment | None = rows.filter(computed_at__lte=last).order_by("-computed_at", "-pk").first()
        return found

    def _history(self, trip: Trip) -> list[Assessment]:
        rows = Assessment.objects.for_fleet(self.fleet).filter(trip=trip).select_related("unit").defer("document")
        return list(rows.order_by("-pk")[:HISTORY])

    def _state_of(self, trip: Trip) -> str:
        """What moves when there is something new to see: the newest answer and the holds."""
        answers = Assessment.objects.for_fleet(self.fleet).filter(trip=trip).order_by("-pk").values_list("pk")
        newest = answers.first()
        holds = Hold.objects.for_fleet(self.fleet).filter(trip=trip).order_by("pk").values_list("pk", "state")
        said = ".".join(f"{pk}{state[0]}" for pk, state in holds)
        return f"{trip.revision}-{newest[0] if newest else 0}-{said}"

    def _news(self, trip: Trip, seen: str) -> HttpResponse:
        """Nothing while the page is up to date; otherwise a line that says so. Never changes what is being read."""
        if self._state_of(trip) == seen:
            return HttpResponse(status=204)
        return self.page({"trip": trip}, template="fleet/_news.html")


def is_releasable(hold: Hold) -> bool:
    """Whether a manager may release it: no cause that only a person's signature removes."""
    return all(cause["releasable"] for cause in hold.causes)
