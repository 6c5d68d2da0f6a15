"""The three forms of a record, and what each is called."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import datetime
from enum import StrEnum

import orjson

from fleet.trip_records.document import record_of, scope_of
from fleet.trip_records.readings import readings_csv, readings_lines


class RecordForm(StrEnum):
    PDF = "pdf"
    CSV = "csv"
    JSON_LINES = "jsonl"

    @property
    def media_type(self) -> str:
        return {"pdf": "application/pdf", "csv": "text/csv", "jsonl": "application/jsonl"}[self]


def record_file(fleet_id: int, reference: str, *, form: RecordForm, now: datetime) -> Iterable[bytes]:
    """The file, piece by piece. *Raises* NotFound, NotLeft before the first piece."""
    if form is RecordForm.CSV:
        scope = scope_of(fleet_id, reference, now=now)
        return readings_csv(scope.unit.pk, since=scope.since, until=scope.until)
    record = record_of(fleet_id, reference, now=now)
    if form is RecordForm.PDF:
        from fleet.trip_records.pdf import record_pdf  # the PDF library is heavy and seldom needed

        return [record_pdf(record)]
    scope = record.scope
    first = orjson.dumps(record.document, option=orjson.OPT_APPEND_NEWLINE)
    return _joined(first, readings_lines(scope.unit.pk, since=scope.since, until=scope.until))


def _joined(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield first
    yield from rest


def file_name(reference: str, form: RecordForm) -> str:
    """A name that every file system takes."""
    plain = re.sub(r"[^A-Za-z0-9._-]", "-", reference)
    return f"{plain}-record.{form}"
