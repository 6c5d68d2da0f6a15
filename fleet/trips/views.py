"""Trips over HTTP. Each command is its own small view that calls one service."""

from __future__ import annotations

from typing import Any

import django_filters
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now
from fleet.http.etag import expected_revision, revision_answer, set_etag
from fleet.http.filters import InstantFilter, WordFilter
from fleet.http.idempotency import idempotent
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import Role, Trip
from fleet.readiness.serializers import AssessmentOutput
from fleet.trips import gate, service
from fleet.trips.selectors import trip_of
from fleet.trips.serializers import (
    AssignmentInput,
    CancelInput,
    ForecastInput,
    TripChange,
    TripInput,
    TripOutput,
)

PLANNERS = frozenset({Role.DISPATCHER, Role.MANAGER})


class TripFilters(django_filters.FilterSet):
    state = WordFilter()
    unit = WordFilter(field_name="assigned_unit__number")
    planned_unit = WordFilter(field_name="planned_unit__number")
    departs_from = InstantFilter(field_name="depart_at", lookup_expr="gte")
    departs_until = InstantFilter(field_name="depart_at", lookup_expr="lt")

    class Meta:
        model = Trip
        fields: tuple[str, ...] = ()


class TripView(CommandView, ReadOnlyResource):
    """Trips: list, create, read, change."""

    tag = "trips"
    model = Trip
    roles = {"GET": "any", "POST": PLANNERS, "PATCH": PLANNERS}
    serializer_class = TripOutput
    filterset_class = TripFilters
    lookup_field = "reference"
    input_serializer = {"POST": TripInput, "PATCH": TripChange}
    output_serializer = {"GET": TripOutput, "POST": TripOutput, "PATCH": TripOutput}
    success_status = {"POST": 201}
    problems = ("conflict", "hazardous-load", "invalid-transition")
    if_match = frozenset({"PATCH"})
    gives_etag = True

    def get_queryset(self) -> Any:
        return super().get_queryset().select_related("planned_unit", "assigned_unit")

    @idempotent
    def create(self, request: Request) -> Response:
        trip = service.create_trip(self.fleet, self.read(request), by=self.member, now=db_now())
        response = self.answer(trip, Location=f"/api/v1/trips/{trip.reference}/")
        set_etag(response, trip.revision)
        return response

    def partial_update(self, request: Request, reference: str) -> Response:
        revision = expected_revision(request, trip_of(self.fleet.pk, reference).revision)
        changes = self.read(request, partial=True)
        trip = service.change_trip(self.fleet, reference, changes, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, self.answer(trip).data, trip.revision)


class TripCommand(CommandView):
    """A command on one trip that needs If-Match and answers with the trip."""

    tag = "trips"
    output_serializer = TripOutput
    gives_etag = True
    problems = ("invalid-transition",)

    def revision(self, request: Request, reference: str) -> int | None:
        return expected_revision(request, trip_of(self.fleet.pk, reference).revision)

    def answer_trip(self, request: Request, trip: Trip) -> Response:
        return revision_answer(request, self.answer(trip).data, trip.revision)


class AmbientView(TripCommand):
    """Replaces the ambient forecast."""

    roles = {"PUT": PLANNERS | {Role.INTEGRATOR}}
    input_serializer = ForecastInput
    if_match = frozenset({"PUT"})

    def put(self, request: Request, reference: str) -> Response:
        revision = self.revision(request, reference)
        forecast = self.read(request)
        trip = service.replace_ambient(self.fleet, reference, forecast, revision=revision, by=self.member, now=db_now())
        return self.answer_trip(request, trip)


class DeliverView(TripCommand):
    """The load arrived."""

    roles = {"POST": PLANNERS}
    if_match = frozenset({"POST"})
    step = "deliver"

    def post(self, request: Request, reference: str) -> Response:
        revision = self.revision(request, reference)
        trip = service.finish_trip(self.fleet, reference, "deliver", revision=revision, by=self.member, now=db_now())
        return self.answer_trip(request, trip)


class CancelView(TripCommand):
    """The trip will not happen, or not go on."""

    roles = {"POST": PLANNERS}
    input_serializer = CancelInput
    if_match = frozenset({"POST"})

    def post(self, request: Request, reference: str) -> Response:
        revision = self.revision(request, reference)
        reason = self.read(request)["reason"]
        trip = service.finish_trip(
            self.fleet, reference, "cancel", revision=revision, by=self.member, now=db_now(), reason=reason
        )
        return self.answer_trip(request, trip)


class AssignmentView(CommandView):
    """The first gate: assigns a unit, or refuses while it is blocked."""

    tag = "trips"
    roles = {"PUT": PLANNERS}
    input_serializer = AssignmentInput
    output_serializer = AssessmentOutput
    problems = ("dispatch-blocked", "invalid-transition")
    if_match = frozenset({"PUT"})
    gives_etag = True

    def put(self, request: Request, reference: str) -> Response:
        revision = expected_revision(request, trip_of(self.fleet.pk, reference).revision)
        number = self.read(request)["unit"]
        passage = gate.assign_unit(self.fleet, reference, number, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, passage.document, passage.trip.revision)


class DepartView(CommandView):
    """The second gate: the trip leaves, or is refused."""

    tag = "trips"
    roles = {"POST": PLANNERS}
    output_serializer = AssessmentOutput
    problems = ("dispatch-blocked", "invalid-transition", "no-unit")
    if_match = frozenset({"POST"})
    gives_etag = True

    def post(self, request: Request, reference: str) -> Response:
        revision = expected_revision(request, trip_of(self.fleet.pk, reference).revision)
        passage = gate.depart(self.fleet, reference, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, passage.document, passage.trip.revision)
