"""Readiness over HTTP: the answer, ranked candidates, a preview, the history, and holds."""

from __future__ import annotations

from typing import Any

import django_filters
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now
from fleet.errors import MissingPrecondition
from fleet.http.etag import expected_revision, revision_answer
from fleet.http.filters import WordFilter
from fleet.http.idempotency import idempotent
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import Assessment, Hold, Role
from fleet.readiness.document import CAUTION, history_document
from fleet.readiness.hold_service import release_hold
from fleet.readiness.serializers import (
    AssessmentHistoryItem,
    AssessmentOutput,
    CandidatesInput,
    CandidatesOutput,
    HoldOutput,
    ReleaseInput,
)
from fleet.readiness.service import readiness
from fleet.trips import candidates as ranking
from fleet.trips.selectors import trip_of
from fleet.trips.serializers import TripInput
from fleet.trips.views import PLANNERS


class ReadinessView(CommandView):
    """May this unit take this load on this trip, and what would make it so?"""

    tag = "readiness"
    roles = {"GET": "any"}
    output_serializer = AssessmentOutput
    problems = ("no-unit", "conflict")
    query_parameters = {
        "unit": {"schema": {"type": "string"}, "description": "Ask for this unit instead of the trip's own."}
    }

    def get(self, request: Request, reference: str) -> Response:
        number = request.query_params.get("unit")
        return Response(readiness(self.fleet.pk, reference, number=number))


class CandidatesView(CommandView):
    """Ranks units for a trip, best first.

    From eight units on they are scored together: the ten best as each would be alone, the others by a coarser look
    that may lie two points from it, and no finding of `thermal.chance` carries a remedy, because that would cost five
    more scores for each unit. Ask for the readiness of the unit you choose to see what would mend it.
    """

    tag = "readiness"
    roles = {"POST": PLANNERS}
    input_serializer = CandidatesInput
    output_serializer = CandidatesOutput

    def post(self, request: Request, reference: str) -> Response:
        numbers = self.read(request).get("units")
        ranked = ranking.candidates(self.fleet, reference, numbers=numbers, now=db_now())
        return Response({"trip": reference, "candidates": ranked, "caution": CAUTION})


class PreviewView(CommandView):
    """The assessment of a trip that is not stored."""

    tag = "readiness"
    roles = {"POST": PLANNERS}
    input_serializer = TripInput
    output_serializer = AssessmentOutput
    problems = ("hazardous-load",)

    def post(self, request: Request) -> Response:
        return Response(ranking.preview(self.fleet, self.read(request), now=db_now()))


class AssessmentHistoryView(ReadOnlyResource):
    """Every answer given for a trip: why was it ready then?"""

    tag = "readiness"
    model = Assessment
    serializer_class = AssessmentHistoryItem

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        trip = trip_of(self.fleet.pk, self.kwargs["reference"])
        return rows.filter(trip=trip).select_related("trip", "unit")

    def get_serializer(self, rows: Any = None, *args: Any, **kwargs: Any) -> Any:
        if kwargs.get("many"):
            rows = [history_document(row) for row in rows]
        return super().get_serializer(rows, *args, **kwargs)


class HoldFilters(django_filters.FilterSet):
    state = WordFilter()
    trip = WordFilter(field_name="trip__reference")
    unit = WordFilter(field_name="unit__number")

    class Meta:
        model = Hold
        fields: tuple[str, ...] = ()


class HoldView(ReadOnlyResource):
    """Holds: the stored facts that trips may not leave."""

    tag = "holds"
    model = Hold
    serializer_class = HoldOutput
    filterset_class = HoldFilters

    def get_queryset(self) -> Any:
        return super().get_queryset().select_related("trip", "unit", "released_by")


class ReleaseView(CommandView):
    """A manager lets this trip leave in spite of the hold, with a reason. Not for stop-tier alarms or unrepaired
    defects."""

    tag = "holds"
    quota = "acts"
    roles = {"POST": {Role.MANAGER}}
    input_serializer = ReleaseInput
    output_serializer = HoldOutput
    problems = ("release-not-allowed",)
    if_match = frozenset({"POST"})
    gives_etag = True

    @idempotent
    def post(self, request: Request, pk: int) -> Response:
        if "If-Match" not in request.headers:
            raise MissingPrecondition
        found = Hold.objects.for_fleet(self.fleet).filter(pk=pk).values_list("revision", flat=True).first()
        revision = expected_revision(request, found) if found is not None else None
        reason = self.read(request)["reason"]
        hold = release_hold(
            pk,
            fleet_id=self.fleet.pk,
            by=self.member,
            reason=reason,
            expected_revision=revision,
            now=db_now(),
        )
        return revision_answer(request, self.answer(hold).data, hold.revision)
