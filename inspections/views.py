"""Sheets, inspections, repairs and defects over HTTP. Each command calls one service."""

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
from fleet.models import Role
from inspections.answers import DefectOutput, InspectionOutput, InspectionSummary, RepairOutput, SheetOutput
from inspections.models import Defect, Inspection, Repair, Sheet
from inspections.selectors import inspection_of, sheets_of
from inspections.serializers import (
    CorrectionInput,
    DraftChange,
    InspectionInput,
    RecheckInput,
    RepairInput,
    SheetInput,
    SignatureInput,
)
from inspections.services import amending, discarding, filing, mending, sheets

INSPECTORS = frozenset({Role.INSPECTOR, Role.MANAGER})
KEEPERS = frozenset({Role.MANAGER})


class SheetFilters(django_filters.FilterSet):
    key = WordFilter()
    kind = WordFilter()

    class Meta:
        model = Sheet
        fields: tuple[str, ...] = ()


class SheetView(CommandView, ReadOnlyResource):
    """Inspection sheets, every version: the fleet's own, and the built-in ones that none of its own replaces."""

    tag = "inspections"
    model = Sheet
    roles = {"GET": "any", "POST": KEEPERS}
    serializer_class = SheetOutput
    filterset_class = SheetFilters
    input_serializer = {"POST": SheetInput}
    output_serializer = {"GET": SheetOutput, "POST": SheetOutput}
    success_status = {"POST": 201}
    problems = ("conflict",)

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return super().get_queryset()
        return sheets_of(self.fleet).select_related("unit_model")

    @idempotent
    def create(self, request: Request) -> Response:
        sheet = sheets.publish_sheet(self.fleet, self.read(request), by=self.member, now=db_now())
        return self.answer(sheet, Location=f"/api/v1/inspection-sheets/{sheet.pk}/")


class InspectionFilters(django_filters.FilterSet):
    unit = WordFilter(field_name="unit__number")
    kind = WordFilter()
    state = WordFilter()
    result = WordFilter()
    arrival = WordFilter()
    trip = WordFilter(field_name="trip__reference")
    since = InstantFilter(field_name="performed_at", lookup_expr="gte")
    until = InstantFilter(field_name="performed_at", lookup_expr="lt")

    class Meta:
        model = Inspection
        fields: tuple[str, ...] = ()


class InspectionView(CommandView, ReadOnlyResource):
    """Inspections: list, file (whole or as a draft), read, fill a draft or discard it."""

    tag = "inspections"
    quota = {"POST": "acts"}
    model = Inspection
    roles = {"GET": "any", "POST": INSPECTORS, "PATCH": INSPECTORS, "DELETE": INSPECTORS}
    filterset_class = InspectionFilters
    input_serializer = {"POST": InspectionInput, "PATCH": DraftChange}
    output_serializer = {"GET": InspectionOutput, "POST": InspectionOutput, "PATCH": InspectionOutput}
    success_status = {"POST": 201, "DELETE": 204}
    problems = ("not-found", "already-signed", "review-required")
    if_match = frozenset({"PATCH", "DELETE"})
    gives_etag = True

    def get_queryset(self) -> Any:
        rows = super().get_queryset().select_related("unit", "sheet", "trip")
        return rows.prefetch_related("observations__photos", "signatures") if self.action == "retrieve" else rows

    def get_serializer_class(self) -> Any:
        return InspectionSummary if self.action == "list" else InspectionOutput

    @idempotent
    def create(self, request: Request) -> Response:
        row = filing.file_inspection(self.fleet, self.read(request), by=self.member, now=db_now())
        response = self.answer(row, Location=f"/api/v1/inspections/{row.pk}/")
        set_etag(response, row.revision)
        return response

    def partial_update(self, request: Request, pk: int) -> Response:
        revision = expected_revision(request, inspection_of(self.fleet.pk, pk).revision)
        changes = self.read(request, partial=True)
        row = filing.change_draft(self.fleet, pk, changes, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, self.answer(row).data, row.revision)

    def destroy(self, request: Request, pk: int) -> Response:
        revision = expected_revision(request, inspection_of(self.fleet.pk, pk).revision)
        discarding.discard_draft(self.fleet, pk, revision=revision, by=self.member, now=db_now())
        return Response(status=204)


class SignView(CommandView):
    """Signs a draft: from here on it is a record."""

    tag = "inspections"
    quota = "acts"
    roles = {"POST": INSPECTORS}
    input_serializer = SignatureInput
    output_serializer = InspectionOutput
    problems = ("already-signed", "review-required")
    if_match = frozenset({"POST"})
    gives_etag = True

    @idempotent
    def post(self, request: Request, pk: int) -> Response:
        revision = expected_revision(request, inspection_of(self.fleet.pk, pk).revision)
        signature = self.read(request)
        row = filing.sign_inspection(self.fleet, pk, signature, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, self.answer(row).data, row.revision)


class CorrectionView(CommandView):
    """Puts a whole new inspection in the place of a signed one, which is kept."""

    tag = "inspections"
    roles = {"POST": INSPECTORS}
    input_serializer = CorrectionInput
    output_serializer = InspectionOutput
    success_status = {"POST": 201}
    problems = ("already-signed", "conflict")

    @idempotent
    def post(self, request: Request, pk: int) -> Response:
        row = amending.correct_inspection(self.fleet, pk, self.read(request), by=self.member, now=db_now())
        return self.answer(row, Location=f"/api/v1/inspections/{row.pk}/")


class RecheckView(CommandView):
    """Looks again at items of a signed inspection, after a repair or because they were not seen."""

    tag = "inspections"
    quota = "acts"
    roles = {"POST": INSPECTORS}
    input_serializer = RecheckInput
    output_serializer = InspectionOutput
    success_status = {"POST": 201}
    problems = ("already-signed", "conflict")

    @idempotent
    def post(self, request: Request, pk: int) -> Response:
        row = amending.recheck_items(self.fleet, pk, self.read(request), by=self.member, now=db_now())
        return self.answer(row, Location=f"/api/v1/inspections/{row.pk}/")


class SignRepairView(CommandView):
    """Signs what was done about a defect, or that nothing has to be."""

    tag = "inspections"
    quota = "acts"
    roles = {"POST": INSPECTORS}
    input_serializer = RepairInput
    output_serializer = RepairOutput
    success_status = {"POST": 201}
    problems = ("already-signed", "conflict")

    @idempotent
    def post(self, request: Request, pk: int) -> Response:
        row = mending.sign_repair(self.fleet, pk, self.read(request), by=self.member, now=db_now())
        return self.answer(row, Location=f"/api/v1/repairs/{row.pk}/")


class RepairFilters(django_filters.FilterSet):
    unit = WordFilter(field_name="unit__number")
    item = WordFilter()
    kind = WordFilter()

    class Meta:
        model = Repair
        fields: tuple[str, ...] = ()


class RepairView(ReadOnlyResource):
    """Signed repairs."""

    tag = "inspections"
    model = Repair
    serializer_class = RepairOutput
    filterset_class = RepairFilters

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        return rows.select_related("unit", "observation").prefetch_related("signatures")


class DefectFilters(django_filters.FilterSet):
    unit = WordFilter(field_name="unit__number")
    item = WordFilter()
    state = WordFilter()

    class Meta:
        model = Defect
        fields: tuple[str, ...] = ()


class DefectView(ReadOnlyResource):
    """Defects of units: what failed, at how many engine hours, what was done, who looked again."""

    tag = "inspections"
    model = Defect
    serializer_class = DefectOutput
    filterset_class = DefectFilters

    def get_queryset(self) -> Any:
        return super().get_queryset().select_related("unit", "opened_by", "closed_by")
