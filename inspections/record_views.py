"""Records as files: CSV and JSON Lines of any kind, one inspection as PDF."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpResponse, StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from fleet.errors import Forbidden, InvalidInput, NotFound
from fleet.http.fields import parse_instant
from fleet.http.renderers import OrjsonRenderer
from fleet.http.views import CommandView
from fleet.records.export import Form, export, walk
from inspections.export import EXPORTS
from inspections.models import Inspection
from inspections.selectors import inspection_of
from inspections.services.amending import NotSigned

FORMS = [form.value for form in Form]


class CsvRenderer(OrjsonRenderer):
    """Lets a caller accept CSV; the file itself is streamed past the renderer, problems are JSON."""

    media_type = "text/csv"
    format = "csv"


class JsonLinesRenderer(OrjsonRenderer):
    media_type = "application/jsonl"
    format = "jsonl"


class ExportView(CommandView):
    """All records of one kind, oldest first, as CSV or JSON Lines."""

    tag = "inspections"
    roles = {"GET": "any"}
    renderer_classes = (OrjsonRenderer, CsvRenderer, JsonLinesRenderer)
    query_parameters = {
        "as": {"schema": {"type": "string", "enum": FORMS, "default": "csv"}, "description": "Form of the file."},
        "unit": {"schema": {"type": "string"}, "description": "Only records of this unit."},
        "since": {"schema": {"type": "string", "format": "date-time"}, "description": "Not older than this."},
        "until": {"schema": {"type": "string", "format": "date-time"}, "description": "Older than this."},
    }

    @extend_schema(
        responses={(200, "text/csv"): OpenApiTypes.STR, (200, "application/jsonl"): OpenApiTypes.STR},
    )
    def get(self, request: Request, what: str) -> StreamingHttpResponse:
        kind = EXPORTS.get(what)
        if kind is None:
            raise NotFound(f"There is no export {what!r}; there are {', '.join(sorted(EXPORTS))}.")
        if self.member.role not in kind.roles:
            raise Forbidden
        form = self._form(request)
        filters: dict[str, Any] = {}
        for name, side in (("since", "gte"), ("until", "lt")):
            if (moment := self._moment(request, name)) is not None:
                filters[f"{kind.at}__{side}"] = moment
        if (number := request.query_params.get("unit")) is not None:
            if kind.unit is None:
                raise InvalidInput.at("/unit", "not-of-a-unit", "These records are not of a unit.", where="query")
            filters[kind.unit] = number
        rows = walk(kind.rows(self.fleet).filter(**filters))
        response = StreamingHttpResponse(
            export(rows, kind.columns, form=form), content_type=f"{form.media_type}; charset=utf-8"
        )
        response["Content-Disposition"] = f'attachment; filename="{self.fleet.slug}-{what}.{form}"'
        return response

    def _form(self, request: Request) -> Form:
        text = request.query_params.get("as")
        if text is None:
            accepted = getattr(request, "accepted_renderer", None)
            return Form.JSON_LINES if isinstance(accepted, JsonLinesRenderer) else Form.CSV
        if text not in FORMS:
            raise InvalidInput.at("/as", "invalid-choice", "Send csv or jsonl.", where="query")
        return Form(text)

    def _moment(self, request: Request, name: str) -> datetime | None:
        text = request.query_params.get(name)
        if text is None:
            return None
        moment = parse_instant(text)
        if moment is None:
            raise InvalidInput.at(f"/{name}", "not-an-instant", "Send a time with its offset.", where="query")
        return moment


class PdfRenderer(OrjsonRenderer):
    media_type = "application/pdf"
    format = "pdf"


class PdfView(CommandView):
    """One signed inspection as a printable document."""

    tag = "inspections"
    roles = {"GET": "any"}
    renderer_classes = (OrjsonRenderer, PdfRenderer)
    problems = ("conflict",)

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, pk: int) -> HttpResponse:
        from inspections.pdf import inspection_pdf  # the PDF library is heavy and seldom needed

        row = inspection_of(self.fleet.pk, pk)
        if row.state == Inspection.State.DRAFT:
            raise NotSigned("A draft has nothing to print; sign it first.")
        response = HttpResponse(inspection_pdf(row), content_type="application/pdf")
        response["Content-Disposition"] = f'inline; filename="inspection-{row.pk}.pdf"'
        return response
