"""Notices and notice routes over HTTP. Each command is its own small view that calls one service."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import Prefetch
from rest_framework.request import Request
from rest_framework.response import Response

from alarms.deliveries.serializers import DeliveryOutput
from alarms.models import Notice, NoticeRoute, NoticeSubject
from alarms.notices import routes, services
from alarms.notices.serializers import NoticeOutput, RouteChange, RouteInput, RouteOutput, RouteWithSecret
from fleet.clock import db_now
from fleet.errors import NotFound
from fleet.http.etag import expected_revision, revision_answer, set_etag
from fleet.http.filters import WordFilter
from fleet.http.idempotency import idempotent
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import Role

KEEPERS = frozenset({Role.MANAGER})
READERS = frozenset({Role.MANAGER, Role.DISPATCHER})


class NoticeFilters(django_filters.FilterSet):
    state = WordFilter()
    unit = WordFilter(field_name="unit__number")
    urgency = WordFilter()

    class Meta:
        model = Notice
        fields: tuple[str, ...] = ()


class NoticeView(ReadOnlyResource):
    """Notices, newest first: what somebody must know, and how far telling has come."""

    tag = "notices"
    model = Notice
    serializer_class = NoticeOutput
    filterset_class = NoticeFilters

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        subjects = NoticeSubject.objects.for_fleet(self.fleet).select_related("hold", "alarm", "trip").order_by("pk")
        return rows.select_related("unit", "seen_by").prefetch_related(Prefetch("subjects", subjects))


class NoticeSeenView(CommandView):
    """I know. Stops the repeats for a while; releases nothing."""

    tag = "notices"
    quota = "acts"
    roles = {"POST": READERS}
    output_serializer = NoticeOutput
    problems = ("conflict",)
    if_match = frozenset({"POST"})
    gives_etag = True

    def post(self, request: Request, pk: int) -> Response:
        found = Notice.objects.for_fleet(self.fleet).filter(pk=pk).values_list("revision", flat=True).first()
        if found is None:
            raise NotFound("There is no such notice.")
        revision = expected_revision(request, found)
        notice = services.mark_seen(pk, fleet_id=self.fleet.pk, by=self.member, revision=revision, now=db_now())
        return revision_answer(request, self.answer(notice).data, notice.revision)


class RouteView(CommandView, ReadOnlyResource):
    """Who is told, on which channel, of what, and when not. A webhook's secret is in the answer that makes it, and
    nowhere else."""

    tag = "notices"
    model = NoticeRoute
    roles = {"GET": KEEPERS, "POST": KEEPERS, "PATCH": KEEPERS, "DELETE": KEEPERS}
    serializer_class = RouteOutput
    input_serializer = {"POST": RouteInput, "PATCH": RouteChange}
    output_serializer = {"GET": RouteOutput, "POST": RouteWithSecret, "PATCH": RouteOutput}
    success_status = {"POST": 201, "DELETE": 204}
    problems = ("conflict",)
    if_match = frozenset({"PATCH", "DELETE"})
    gives_etag = True

    def get_queryset(self) -> Any:
        return super().get_queryset().exclude(state=NoticeRoute.State.REMOVED).select_related("member")

    @idempotent
    def create(self, request: Request) -> Response:
        route = routes.create_route(self.fleet, self.read(request), by=self.member, now=db_now())
        response = self.answer(route, Location=f"/api/v1/notice-routes/{route.pk}/")
        set_etag(response, route.revision)
        return response

    def partial_update(self, request: Request, pk: int) -> Response:
        revision = expected_revision(request, routes.route_of(self.fleet.pk, pk).revision)
        changes = self.read(request, partial=True)
        route = routes.change_route(self.fleet, pk, changes, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, self.answer(route).data, route.revision)

    def destroy(self, request: Request, pk: int) -> Response:
        revision = expected_revision(request, routes.route_of(self.fleet.pk, pk).revision)
        routes.remove_route(self.fleet, pk, revision=revision, by=self.member, now=db_now())
        return Response(status=204)


class RouteTestView(CommandView):
    """Sends a test message through the real pipeline; the answer is its delivery, to be read again."""

    tag = "notices"
    roles = {"POST": KEEPERS}
    output_serializer = DeliveryOutput
    success_status = {"POST": 202}
    problems = ("conflict",)

    def post(self, request: Request, pk: int) -> Response:
        delivery = routes.send_test(self.fleet, pk, by=self.member, now=db_now())
        return self.answer(delivery, Location=f"/api/v1/deliveries/{delivery.pk}/")


class RotateSecretView(CommandView):
    """Gives a webhook route a new secret. For a day its messages are signed with both."""

    tag = "notices"
    roles = {"POST": KEEPERS}
    output_serializer = RouteWithSecret
    problems = ("conflict",)
    if_match = frozenset({"POST"})
    gives_etag = True

    def post(self, request: Request, pk: int) -> Response:
        revision = expected_revision(request, routes.route_of(self.fleet.pk, pk).revision)
        route = routes.rotate_secret(self.fleet, pk, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, self.answer(route).data, route.revision)
