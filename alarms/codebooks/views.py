"""Code books over HTTP: import, read, export, and the codes nobody has explained yet."""

from __future__ import annotations

from typing import Any

import django_filters
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from alarms.codebooks.entries import Entry
from alarms.codebooks.importing import entries_of, import_code_book
from alarms.codebooks.serializers import (
    CodeBookInput,
    CodeBookOutput,
    ImportOutput,
    UnmappedListOutput,
    WholeBookOutput,
)
from alarms.codebooks.tables import write_csv
from alarms.models import CodeBook
from alarms.selectors import unmapped_codes
from fleet.clock import db_now
from fleet.errors import NotFound
from fleet.http.filters import WordFilter
from fleet.http.idempotency import idempotent
from fleet.http.renderers import OrjsonRenderer
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import Fleet, Role

KEEPERS = frozenset({Role.MANAGER})


class CodeBookFilters(django_filters.FilterSet):
    unit_model = WordFilter(field_name="unit_model__key")

    class Meta:
        model = CodeBook
        fields: tuple[str, ...] = ()


class CodeBookView(CommandView, ReadOnlyResource):
    """Versions of code books: list, read with entries, import a new one."""

    tag = "code-books"
    model = CodeBook
    roles = {"GET": "any", "POST": KEEPERS}
    serializer_class = CodeBookOutput
    filterset_class = CodeBookFilters
    input_serializer = {"POST": CodeBookInput}
    output_serializer = {"GET": CodeBookOutput, "POST": ImportOutput}

    def get_queryset(self) -> Any:
        return super().get_queryset().select_related("unit_model", "imported_by")

    @idempotent
    def create(self, request: Request) -> Response:
        """Replaces the model's book as a whole. Nothing is stored in a dry run, or when nothing differs."""
        body = self.read(request)
        result = import_code_book(
            self.fleet,
            body["unit_model"],
            body["book"],
            note=body["note"],
            dry_run=body["dry_run"],
            by=self.member,
            now=db_now(),
        )
        return self.answer(result)


class WholeBookView(CommandView):
    """One version of a code book with its entries."""

    tag = "code-books"
    roles = {"GET": "any"}
    output_serializer = WholeBookOutput

    def get(self, request: Request, pk: int) -> Response:
        book = book_of(self.fleet, pk)
        book.sorted_entries = entries_of(book)  # type: ignore[attr-defined]
        return self.answer(book)


class CsvRenderer(OrjsonRenderer):
    """Lets a caller ask for text/csv. The table itself is a plain answer; what comes here is a refusal, as JSON."""

    media_type = "text/csv"
    format = "csv"


class ExportView(CommandView):
    """One version of a code book as a CSV file that can be imported again."""

    tag = "code-books"
    roles = {"GET": "any"}
    renderer_classes = (CsvRenderer, OrjsonRenderer)

    @extend_schema(responses={(200, "text/csv"): OpenApiTypes.STR})
    def get(self, request: Request, pk: int) -> HttpResponse:
        book = book_of(self.fleet, pk)
        entries: list[Entry] = entries_of(book)
        name = f"code-book-{book.unit_model.key}-{book.version}.csv"
        return HttpResponse(
            write_csv(entries),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": f'attachment; filename="{name}"'},
        )


class UnmappedView(CommandView):
    """Codes that units sent and that no book explains, the one seen last first."""

    tag = "code-books"
    roles = {"GET": "any"}
    output_serializer = UnmappedListOutput
    query_parameters = {"unit_model": {"schema": {"type": "string"}, "description": "Only units of this model."}}

    def get(self, request: Request) -> Response:
        key = request.query_params.get("unit_model")
        return self.answer({"items": unmapped_codes(self.fleet, unit_model=key)})


def book_of(fleet: Fleet, pk: int) -> CodeBook:
    """*Raises* NotFound."""
    book: CodeBook | None = (
        CodeBook.objects.for_fleet(fleet).select_related("unit_model", "imported_by").filter(pk=pk).first()
    )
    if book is None:
        raise NotFound("There is no such code book.")
    return book
