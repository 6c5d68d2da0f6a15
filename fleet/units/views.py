"""Units, unit models, commodities and the policy over HTTP."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import django_filters
from django.db.models import Q
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now
from fleet.http.etag import expected_revision, require_match, revision_answer, set_etag
from fleet.http.filters import InstantFilter, WordFilter
from fleet.http.idempotency import idempotent
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import Commodity, PolicyRow, Reading, Role, Unit, UnitModel
from fleet.policy import THRESHOLDS
from fleet.readiness.facts import instant
from fleet.trips.selectors import unit_of
from fleet.units import service
from fleet.units.serializers import (
    CommodityOutput,
    PolicyInput,
    PolicyOutput,
    ReadingOutput,
    UnitChange,
    UnitInput,
    UnitModelChange,
    UnitModelInput,
    UnitModelOutput,
    UnitOutput,
    UnitStateOutput,
)

KEEPERS = frozenset({Role.MANAGER})


class UnitModelView(CommandView, ReadOnlyResource):
    """Design data of the fleet's builds."""

    tag = "units"
    model = UnitModel
    roles = {"GET": "any", "POST": KEEPERS, "PATCH": KEEPERS}
    serializer_class = UnitModelOutput
    lookup_field = "key"
    input_serializer = {"POST": UnitModelInput, "PATCH": UnitModelChange}
    output_serializer = {"GET": UnitModelOutput, "POST": UnitModelOutput, "PATCH": UnitModelOutput}
    success_status = {"POST": 201}
    problems = ("conflict",)
    if_match = frozenset({"PATCH"})
    gives_etag = True

    @idempotent
    def create(self, request: Request) -> Response:
        model = service.create_unit_model(self.fleet, self.read(request), by=self.member, now=db_now())
        response = self.answer(model, Location=f"/api/v1/unit-models/{model.key}/")
        set_etag(response, model.revision)
        return response

    def partial_update(self, request: Request, key: str) -> Response:
        revision = expected_revision(request, self.get_object().revision)
        changes = self.read(request, partial=True)
        model = service.change_unit_model(self.fleet, key, changes, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, self.answer(model).data, model.revision)


class UnitFilters(django_filters.FilterSet):
    service = WordFilter()
    model = WordFilter(field_name="model__key")

    class Meta:
        model = Unit
        fields: tuple[str, ...] = ()


class UnitView(CommandView, ReadOnlyResource):
    """The fleet's heated units."""

    tag = "units"
    model = Unit
    roles = {"GET": "any", "POST": KEEPERS, "PATCH": KEEPERS}
    serializer_class = UnitOutput
    filterset_class = UnitFilters
    lookup_field = "number"
    input_serializer = {"POST": UnitInput, "PATCH": UnitChange}
    output_serializer = {"GET": UnitOutput, "POST": UnitOutput, "PATCH": UnitOutput}
    success_status = {"POST": 201}
    problems = ("conflict",)
    if_match = frozenset({"PATCH"})
    gives_etag = True

    def get_queryset(self) -> Any:
        return super().get_queryset().select_related("model")

    @idempotent
    def create(self, request: Request) -> Response:
        unit = service.create_unit(self.fleet, self.read(request), by=self.member, now=db_now())
        response = self.answer(unit, Location=f"/api/v1/units/{unit.number}/")
        set_etag(response, unit.revision)
        return response

    def partial_update(self, request: Request, number: str) -> Response:
        revision = expected_revision(request, self.get_object().revision)
        changes = self.read(request, partial=True)
        unit = service.change_unit(self.fleet, number, changes, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, self.answer(unit).data, unit.revision)


class UnitStateView(CommandView):
    """The newest known value of each field of a unit, with its age and source."""

    tag = "units"
    roles = {"GET": "any"}
    output_serializer = UnitStateOutput

    def get(self, request: Request, number: str) -> Response:
        unit = unit_of(self.fleet.pk, number)
        now = db_now()
        state = unit.state

        def known(document: dict[str, list[Any]]) -> dict[str, dict[str, Any]]:
            return {
                name: {
                    "value": value,
                    "at": instant(at),
                    "age_min": round((now - instant(at)) / timedelta(minutes=1), 2),
                    "source": source,
                }
                for name, (value, at, source) in sorted(document.items())
            }

        return self.answer(
            {
                "unit": unit.number,
                "newest_at": state.newest_at,
                "values": known(state.values),
                "facts": known(state.facts | state.told),
                "version": state.version,
            }
        )


class ReadingFilters(django_filters.FilterSet):
    since = InstantFilter(field_name="at", lookup_expr="gte")
    until = InstantFilter(field_name="at", lookup_expr="lt")

    class Meta:
        model = Reading
        fields: tuple[str, ...] = ()


class ReadingView(ReadOnlyResource):
    """Stored readings of one unit, newest first."""

    tag = "units"
    model = Reading
    serializer_class = ReadingOutput
    filterset_class = ReadingFilters
    cursor_fields = ("at", "source_id")

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows
        return rows.filter(unit=unit_of(self.fleet.pk, self.kwargs["number"])).select_related("source")


class CommodityView(ReadOnlyResource):
    """What is known of goods: limits and properties with their sources. A fleet's own row hides the built-in one."""

    tag = "commodities"
    model = Commodity
    serializer_class = CommodityOutput
    lookup_field = "key"

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return super().get_queryset()
        rows = Commodity.objects.across_fleets()
        own = rows.filter(fleet=self.fleet).values("key")
        return rows.filter(Q(fleet=self.fleet) | (Q(fleet__isnull=True) & ~Q(key__in=own)))


class PolicyView(CommandView):
    """The fleet's thresholds with their defaults and reasons."""

    tag = "policy"
    roles = {"GET": "any", "PATCH": KEEPERS}
    input_serializer = {"PATCH": PolicyInput}
    output_serializer = PolicyOutput
    if_match = frozenset({"PATCH"})
    gives_etag = True

    def get(self, request: Request) -> Response:
        row = PolicyRow.objects.get(fleet=self.fleet)
        return revision_answer(request, self.answer(self._document(row)).data, row.revision)

    def patch(self, request: Request) -> Response:
        row = PolicyRow.objects.get(fleet=self.fleet)
        require_match(request, row.revision)
        revision = expected_revision(request, row.revision)
        changes = self.read(request, partial=True)
        row = service.change_policy(self.fleet, changes, revision=revision, by=self.member, now=db_now())
        return revision_answer(request, self.answer(self._document(row)).data, row.revision)

    def _document(self, row: PolicyRow) -> dict[str, Any]:
        values = {threshold.name: threshold.default for threshold in THRESHOLDS} | row.overrides
        return {
            "thresholds": [
                {
                    "name": threshold.name,
                    "value": values[threshold.name],
                    "default": threshold.default,
                    "low": threshold.low,
                    "high": threshold.high,
                    "words": threshold.words,
                    "source": threshold.source,
                }
                for threshold in THRESHOLDS
            ],
            "revision": row.revision,
        }
