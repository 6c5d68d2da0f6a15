"""Records as files: CSV for spreadsheets and JSON Lines for machines, streamed in bounded memory.

A spreadsheet runs a cell that begins like a formula. Text that could is written behind an apostrophe; numbers stay
numbers, so a negative temperature is not touched.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

import orjson
from django.db.models import Model, QuerySet

from fleet.clock import text_of

PAGE = 500
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What spreadsheets take for the start of a formula, the full-width twins included (common practice, no source)."""


class Form(StrEnum):
    CSV = "csv"
    JSON_LINES = "jsonl"

    @property
    def media_type(self) -> str:
        return "text/csv" if self is Form.CSV else "application/jsonl"


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name and how to read it off a row."""

    name: str
    read: Callable[[Any], Any]


def column(path: str, name: str = "") -> Column:
    """The column of an attribute, by its dotted path; a missing step (no trip) gives None."""

    def read(row: Any) -> Any:
        value = row
        for step in path.split("."):
            value = None if value is None else getattr(value, step)
        return value

    return Column(name or path.replace(".", "_"), read)


def walk(rows: QuerySet[Any], *, size: int = PAGE) -> Iterator[Model]:
    """Rows in the order of their ids, a page at a time: no cursor and no transaction stays open meanwhile."""
    after = 0
    while True:
        page = list(rows.filter(pk__gt=after).order_by("pk")[:size])
        yield from page
        if len(page) < size:
            return
        after = page[-1].pk


def export(rows: Iterable[Any], columns: Sequence[Column], *, form: Form) -> Iterator[bytes]:
    """The file, piece by piece."""
    return _csv(rows, columns) if form is Form.CSV else _json_lines(rows, columns)


class _Echo:
    """Gives each line the csv module writes back to its caller."""

    def write(self, line: str) -> str:
        return line


def _csv(rows: Iterable[Any], columns: Sequence[Column]) -> Iterator[bytes]:
    """RFC 4180 in UTF-8, with a header."""
    writer = csv.writer(_Echo())
    yield _encoded(writer.writerow([one.name for one in columns]))
    for row in rows:
        yield _encoded(writer.writerow([cell_of(one.read(row)) for one in columns]))


def _encoded(line: Any) -> bytes:
    return str(line).encode()


def _json_lines(rows: Iterable[Any], columns: Sequence[Column]) -> Iterator[bytes]:
    for row in rows:
        yield orjson.dumps({one.name: _plain(one.read(row)) for one in columns}, option=orjson.OPT_APPEND_NEWLINE)


def cell_of(value: Any) -> Any:
    """*value* as a CSV cell that no spreadsheet runs."""
    plain = _plain(value)
    if plain is None:
        return ""
    if isinstance(plain, bool):
        return "true" if plain else "false"
    if isinstance(plain, dict | list):
        plain = orjson.dumps(plain).decode()
    if isinstance(plain, str) and plain.startswith(FORMULA_STARTS):
        return f"'{plain}"
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return text_of(value)
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, StrEnum) else value
