"""Lists in pages, by a cursor on columns that are unique together: nothing is skipped or shown twice.

Answer: `{"items": […], "next": url | null, "previous": url | null}`. Newest first, or oldest first with
`?order=oldest`. Rows that arrive while a caller walks newest-first stand before the first page and are not
seen on this walk. The cursor is opaque; a made-up one can only name another position of the same caller's
own list.
"""

import base64
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from fleet.errors import InvalidInput

MAX_LIMIT = 200
DEFAULT_LIMIT = 50
ORDERS = ("newest", "oldest")
_INT64 = 2**63 - 1


@dataclass(frozen=True, slots=True)
class Cursor:
    """A position: read `onward` or `back` from (and without) the row with these column values."""

    direction: Literal["onward", "back"]
    order: str
    values: tuple[Any, ...]

    def encode(self) -> str:
        """The opaque text of this position."""
        document = json.dumps([self.direction, self.order, list(self.values)], separators=(",", ":"))
        return base64.urlsafe_b64encode(document.encode()).decode().rstrip("=")

    @classmethod
    def decode(cls, text: str) -> "Cursor":
        """Read what `encode` wrote; ValueError for anything else."""
        try:
            padded = text + "=" * (-len(text) % 4)
            direction, order, values = json.loads(base64.b64decode(padded, altchars=b"-_", validate=True))
        except (ValueError, TypeError, RecursionError) as error:
            raise ValueError("not a cursor") from error
        if direction not in ("onward", "back") or order not in ORDERS or not isinstance(values, list):
            raise ValueError("not a cursor")
        if any(isinstance(v, bool) or not isinstance(v, int | str) for v in values):
            raise ValueError("not a cursor")
        if any(isinstance(v, int) and abs(v) > _INT64 for v in values):
            raise ValueError("not a cursor")
        return cls(direction, order, tuple(values))


class IdCursorPagination(BasePagination):
    """The pagination of every list. A view may set `cursor_fields`, columns that are unique together."""

    query_parameters: ClassVar[frozenset[str]] = frozenset({"cursor", "limit", "order"})

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        self.request = request
        self.fields: Sequence[str] = getattr(view, "cursor_fields", ("id",))
        limit = _limit(request)
        cursor, self.order = self._position(request, queryset)
        back = cursor is not None and cursor.direction == "back"
        descending = (self.order == "newest") != back
        if cursor is not None:
            queryset = queryset.filter(_beyond(self.fields, cursor.values, descending=descending))
        prefix = "-" if descending else ""
        rows = list(queryset.order_by(*(prefix + name for name in self.fields))[: limit + 1])
        more, rows = len(rows) > limit, rows[:limit]
        if back:
            rows.reverse()
        self.next_cursor = self._edge("onward", rows[-1:], wanted=back or more, standing=cursor)
        self.previous_cursor = self._edge(
            "back", rows[:1], wanted=more if back else cursor is not None, standing=cursor
        )
        return rows

    def _position(self, request: Request, queryset: QuerySet[Any]) -> tuple[Cursor | None, str]:
        order = request.query_params.get("order")
        if order is not None and order not in ORDERS:
            raise InvalidInput.at("/order", "invalid-choice", "Send newest or oldest.", where="query")
        text = request.query_params.get("cursor")
        if text is None:
            return None, order or "newest"
        try:
            cursor = _typed(Cursor.decode(text), queryset, self.fields)
        except (ValueError, ValidationError) as error:
            detail = "Follow the next and previous links instead of making cursors."
            raise InvalidInput.at("/cursor", "not-a-cursor", detail, where="query") from error
        if order is not None and order != cursor.order:
            raise InvalidInput.at("/order", "mismatch", "The cursor is of the other order.", where="query")
        return cursor, cursor.order

    def _edge(
        self, direction: Literal["onward", "back"], rows: list[Any], *, wanted: bool, standing: Cursor | None
    ) -> Cursor | None:
        """The cursor at one end of the page. An empty page turns round at the place it was asked for."""
        if not wanted:
            return None
        if rows:
            values = tuple(_plain(getattr(rows[0], name)) for name in self.fields)
        elif standing is not None and standing.direction != direction:
            values = tuple(_plain(value) for value in standing.values)
        else:
            return None
        return Cursor(direction, self.order, values)

    def get_paginated_response(self, data: Any) -> Response:
        return Response(
            {
                "items": data,
                "next": self._link(self.next_cursor),
                "previous": self._link(self.previous_cursor),
            }
        )

    def _link(self, cursor: Cursor | None) -> str | None:
        if cursor is None:
            return None
        return replace_query_param(self.request.build_absolute_uri(), "cursor", cursor.encode())

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        link = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["items", "next", "previous"],
            "properties": {"items": schema, "next": link, "previous": dict(link)},
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        limit = {"type": "integer", "minimum": 1, "maximum": MAX_LIMIT, "default": DEFAULT_LIMIT}
        return [
            _parameter("cursor", "Opaque position, from a next or previous link.", {"type": "string", "minLength": 1}),
            _parameter("limit", "Items per page.", limit),
            _parameter("order", "Which end comes first.", {"type": "string", "enum": list(ORDERS)}),
        ]


def _parameter(name: str, description: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": False, "description": description, "schema": schema}


def _limit(request: Request) -> int:
    text = request.query_params.get("limit", str(DEFAULT_LIMIT))
    if not (text.isascii() and text.isdecimal() and len(text) <= 3 and 1 <= int(text) <= MAX_LIMIT):
        raise InvalidInput.at("/limit", "out-of-range", f"Send 1 to {MAX_LIMIT}.", where="query")
    return int(text)


def _typed(cursor: Cursor, queryset: QuerySet[Any], fields: Sequence[str]) -> Cursor:
    """The cursor with its values as the columns hold them (times come as text)."""
    columns = [queryset.model._meta.get_field(name) for name in fields]
    values = tuple(column.to_python(value) for column, value in zip(columns, cursor.values, strict=True))
    return Cursor(cursor.direction, cursor.order, values)


def _plain(value: Any) -> int | str:
    return value if isinstance(value, int) else value.isoformat() if hasattr(value, "isoformat") else str(value)


def _beyond(fields: Sequence[str], values: Sequence[Any], *, descending: bool) -> Q:
    """Rows strictly beyond `values` in lexicographic order of `fields`."""
    side = "lt" if descending else "gt"
    condition = Q()
    for depth in reversed(range(len(fields))):
        step = Q(**{f"{fields[depth]}__{side}": values[depth]})
        equal = Q(**{fields[depth]: values[depth]})
        condition = step | (equal & condition) if condition else step
    # Implied by the above; a bound on the leading column alone is what an index can use.
    return condition & Q(**{f"{fields[0]}__{side}e": values[0]}) if len(fields) > 1 else condition
