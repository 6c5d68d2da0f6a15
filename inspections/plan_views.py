"""Forms, history, service and work lists over HTTP."""

from __future__ import annotations

from typing import Any

import django_filters
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now
from fleet.http.filters import InstantFilter, WordFilter
from fleet.http.idempotency import idempotent
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import Role
from fleet.trips.selectors import unit_of
from inspections.forms import form_document
from inspections.models import Inspection, Observation, ServiceRecord
from inspections.plan_answers import (
    FailureListOutput,
    FormOutput,
    ItemHistoryOutput,
    ServiceOutput,
    WorkListOutput,
)
from inspections.serializers import ServiceInput
from inspections.services.servicing import record_service
from inspections.work import failure_counts, work_list

MENDERS = frozenset({Role.INSPECTOR, Role.MANAGER})


class FormView(CommandView):
    """A sheet made ready for one unit: its limits, defects carried over, open alarms, the report to review."""

    tag = "inspections"
    roles = {"GET": "any"}
    output_serializer = FormOutput
    query_parameters = {
        "sheet": {"schema": {"type": "string", "default": "pre-trip"}, "description": "Key of the sheet."}
    }

    def get(self, request: Request, number: str) -> Response:
        unit = unit_of(self.fleet.pk, number)
        key = request.query_params.get("sheet", "pre-trip")
        return self.answer(form_document(self.fleet, unit, key, now=db_now()))


class ServiceFilters(django_filters.FilterSet):
    since = InstantFilter(field_name="performed_at", lookup_expr="gte")
    until = InstantFilter(field_name="performed_at", lookup_expr="lt")

    class Meta:
        model = ServiceRecord
        fields: tuple[str, ...] = ()


class ServiceView(CommandView, ReadOnlyResource):
    """Services of one unit: read them, record one."""

    tag = "inspections"
    model = ServiceRecord
    roles = {"GET": "any", "POST": MENDERS}
    serializer_class = ServiceOutput
    filterset_class = ServiceFilters
    input_serializer = {"POST": ServiceInput}
    output_serializer = {"GET": ServiceOutput, "POST": ServiceOutput}
    success_status = {"POST": 201}

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        unit = unit_of(self.fleet.pk, self.kwargs["number"])
        return rows.filter(unit=unit).select_related("unit").prefetch_related("signatures")

    @idempotent
    def create(self, request: Request, number: str) -> Response:
        row = record_service(self.fleet, number, self.read(request), by=self.member, now=db_now())
        return self.answer(row)


class WorkListView(CommandView):
    """Work to plan, most urgent first: services due, open defects, wear, alarms to watch."""

    tag = "inspections"
    roles = {"GET": "any"}
    output_serializer = WorkListOutput
    problems = ("not-found",)
    query_parameters = {"unit": {"schema": {"type": "string"}, "description": "Only this unit."}}

    def get(self, request: Request) -> Response:
        number = request.query_params.get("unit")
        if number is not None:
            unit_of(self.fleet.pk, number)
        return self.answer({"items": work_list(self.fleet, now=db_now(), number=number)})


class FailureView(CommandView):
    """Which items fail, on which unit models, at how many engine hours."""

    tag = "inspections"
    roles = {"GET": "any"}
    output_serializer = FailureListOutput
    query_parameters = {"item": {"schema": {"type": "string"}, "description": "Only this item, by its key."}}

    def get(self, request: Request) -> Response:
        return self.answer({"items": failure_counts(self.fleet, item=request.query_params.get("item"))})


class ItemHistoryFilters(django_filters.FilterSet):
    item = WordFilter()
    outcome = WordFilter()
    since = InstantFilter(field_name="inspection__performed_at", lookup_expr="gte")
    until = InstantFilter(field_name="inspection__performed_at", lookup_expr="lt")

    class Meta:
        model = Observation
        fields: tuple[str, ...] = ()


class ItemHistoryView(ReadOnlyResource):
    """What was seen of the items of one unit, in signed inspections that stand."""

    tag = "inspections"
    model = Observation
    serializer_class = ItemHistoryOutput
    filterset_class = ItemHistoryFilters

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        unit = unit_of(self.fleet.pk, self.kwargs["number"])
        signed = rows.filter(unit=unit, inspection__state=Inspection.State.SIGNED)
        return signed.select_related("unit", "inspection")
