"""The record of a trip over the API: PDF for people, CSV and JSON Lines for machines, streamed."""

from __future__ import annotations

from typing import ClassVar

from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from fleet.clock import db_now
from fleet.http.renderers import OrjsonRenderer
from fleet.http.views import CommandView
from fleet.models import Role
from fleet.trip_records.files import RecordForm, file_name, record_file

READERS = frozenset({Role.DISPATCHER, Role.MANAGER})


class PdfRenderer(OrjsonRenderer):
    """Lets a caller accept the file; it is streamed past the renderer, problems are JSON."""

    media_type = "application/pdf"
    format = "pdf"


class CsvRenderer(OrjsonRenderer):
    media_type = "text/csv"
    format = "csv"


class JsonLinesRenderer(OrjsonRenderer):
    media_type = "application/jsonl"
    format = "jsonl"


class RecordView(CommandView):
    """One form of the record of a trip that has left."""

    tag = "trips"
    roles = {"GET": READERS}
    problems = ("conflict",)
    form: ClassVar[RecordForm]

    def file(self, reference: str) -> StreamingHttpResponse:
        pieces = record_file(self.fleet.pk, reference, form=self.form, now=db_now())
        charset = "" if self.form is RecordForm.PDF else "; charset=utf-8"
        response = StreamingHttpResponse(pieces, content_type=self.form.media_type + charset)
        response["Content-Disposition"] = f'attachment; filename="{file_name(reference, self.form)}"'
        response["Cache-Control"] = "private, no-store"
        return response


class RecordPdf(RecordView):
    """The record of a trip that has left, to print or to send on: range, temperatures, excursions, acts, hashes."""

    form = RecordForm.PDF
    renderer_classes = (OrjsonRenderer, PdfRenderer)

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, reference: str) -> StreamingHttpResponse:
        return self.file(reference)


class RecordCsv(RecordView):
    """Every reading of a trip that has left. The PDF names the SHA-256 of this file."""

    form = RecordForm.CSV
    renderer_classes = (OrjsonRenderer, CsvRenderer)

    @extend_schema(responses={(200, "text/csv"): OpenApiTypes.STR})
    def get(self, request: Request, reference: str) -> StreamingHttpResponse:
        return self.file(reference)


class RecordLines(RecordView):
    """The record as JSON Lines: the record itself first, then every reading."""

    form = RecordForm.JSON_LINES
    renderer_classes = (OrjsonRenderer, JsonLinesRenderer)

    @extend_schema(responses={(200, "application/jsonl"): OpenApiTypes.STR})
    def get(self, request: Request, reference: str) -> StreamingHttpResponse:
        return self.file(reference)
