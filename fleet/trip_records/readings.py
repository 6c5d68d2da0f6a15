"""The readings of a record as a file: every one of them, in order of time and source, and the digest of that file."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from hashlib import sha256
from typing import Any

from django.db.models import Q

from fleet.ingest.fields import FIELD_NAMES
from fleet.models import Reading
from fleet.records.export import Form, column, export

PAGE = 2000
COLUMNS = (column("at"), column("source.name", "source"), *(column(name) for name in FIELD_NAMES))


def walk_readings(unit_id: int, *, since: datetime, until: datetime) -> Iterator[Any]:
    """Readings in [since, until), a page at a time: no cursor and no transaction stays open meanwhile."""
    rows = Reading.objects.across_fleets().filter(unit_id=unit_id, at__lt=until).select_related("source")
    after = Q(at__gte=since)
    while True:
        page = list(rows.filter(after).order_by("at", "source_id")[:PAGE])
        yield from page
        if len(page) < PAGE:
            return
        last = page[-1]
        after = Q(at__gt=last.at) | Q(at=last.at, source_id__gt=last.source_id)


def readings_csv(unit_id: int, *, since: datetime, until: datetime) -> Iterator[bytes]:
    """The file that `record.csv` is: its digest is in the record."""
    return export(walk_readings(unit_id, since=since, until=until), COLUMNS, form=Form.CSV)


def readings_lines(unit_id: int, *, since: datetime, until: datetime) -> Iterator[bytes]:
    """The same readings as JSON Lines."""
    return export(walk_readings(unit_id, since=since, until=until), COLUMNS, form=Form.JSON_LINES)


def readings_digest(unit_id: int, *, since: datetime, until: datetime) -> tuple[int, str]:
    """How many readings the CSV file holds, and its SHA-256, hexadecimal."""
    digest, lines = sha256(), -1  # its first line is the header
    for line in readings_csv(unit_id, since=since, until=until):
        digest.update(line)
        lines += 1
    return lines, digest.hexdigest()
