"""Deliveries over HTTP: the record of each message, and sending one again."""

from __future__ import annotations

import django_filters
from rest_framework.request import Request
from rest_framework.response import Response

from alarms.deliveries.serializers import DeliveryOutput
from alarms.deliveries.services import redeliver
from alarms.models import Delivery
from fleet.clock import db_now
from fleet.http.filters import IdFilter, InstantFilter, WordFilter
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import Role


class DeliveryFilters(django_filters.FilterSet):
    state = WordFilter()
    channel = WordFilter()
    purpose = WordFilter()
    notice = IdFilter(field_name="notice_id")
    route = IdFilter(field_name="route_id")
    since = InstantFilter(field_name="created_at", lookup_expr="gte")

    class Meta:
        model = Delivery
        fields: tuple[str, ...] = ()


class DeliveryView(ReadOnlyResource):
    """Every message, newest first: to whom, what it said, what became of it."""

    tag = "notices"
    model = Delivery
    roles = {"GET": {Role.MANAGER, Role.DISPATCHER}}
    serializer_class = DeliveryOutput
    filterset_class = DeliveryFilters


class RedeliverView(CommandView):
    """Sends a message again under its own id."""

    tag = "notices"
    roles = {"POST": {Role.MANAGER}}
    output_serializer = DeliveryOutput
    success_status = {"POST": 202}
    problems = ("conflict",)

    def post(self, request: Request, pk: int) -> Response:
        return self.answer(redeliver(pk, fleet_id=self.fleet.pk, by=self.member, now=db_now()))
