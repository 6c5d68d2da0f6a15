"""The record as a printable document: its sections in order, and how to check what it says."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO

from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, Image, Spacer, Table

from fleet.charts.draw import png
from fleet.charts.paper import Paper, Size
from fleet.charts.picture import Picture
from fleet.records.printing import HEADED, WIDTH, pdf_of, text
from fleet.trip_records.document import HASH, Record
from fleet.trip_records.sections import Grid, moment

TALLEST = 205 * mm
BEGINNING = 28 * mm
VERIFY = (
    "How to check it: the file record.csv of this trip has the SHA-256 given here (sha256sum). The first line of "
    "record.jsonl is this record as data; without its member content_sha256, as canonical JSON, it has the content "
    "hash. Sealed acts name their place in the carrier's audit chain. A reading that arrives later changes both."
)


def record_pdf(record: Record) -> bytes:
    """The PDF of a record; byte for byte the same for the same record."""
    document = record.document
    foot = f"{document['trip']} · {document['unit']} · {document[HASH][:16]}"
    return pdf_of(list(_story(record)), title=f"Record of trip {document['trip']}", foot=foot)


def _story(record: Record) -> Iterator[Flowable]:
    document = record.document
    yield text(f"Record of trip {document['trip']}", 13, bold=True)
    yield Spacer(1, 1.5 * mm)
    yield text(
        f"{document['carrier']} · unit {document['unit']} · {moment(record.scope.since)} to "
        f"{moment(record.scope.until)} · {document['state'].replace('_', ' ')}",
        8.5,
    )
    if record.provisional:
        yield text("PROVISIONAL: the trip is under way; this is what is known so far.", 8.5, bold=True)
    yield Spacer(1, 2 * mm)
    for section, content in record.sections:
        image = None if content.picture is None else _image(content.picture)
        # A heading stays with what it is the heading of.
        yield CondPageBreak(BEGINNING if image is None else image.drawHeight + BEGINNING)
        yield text(section.title, 9.5, bold=True)
        yield Spacer(1, 0.8 * mm)
        for line in content.lines:
            yield text(line, 7.8)
        for grid in content.grids:
            yield Spacer(1, 0.8 * mm)
            yield _table(grid)
        if image is not None:
            yield Spacer(1, 1 * mm)
            yield image
        yield Spacer(1, 3 * mm)
    yield from _verification(record)


def _verification(record: Record) -> Iterator[Flowable]:
    readings = record.document["readings"]
    yield CondPageBreak(60 * mm)
    yield text("Verification", 9.5, bold=True)
    yield Spacer(1, 0.8 * mm)
    rows = (
        ("readings", str(readings["count"])),
        ("SHA-256 of record.csv", readings["csv_sha256"]),
        ("SHA-256 of the content", record.document[HASH]),
    )
    yield _table(Grid(("what", "value"), rows, (1, 3.2)))
    yield text(VERIFY, 7)
    if readings["cut"]:
        yield text("The newest readings are judged and drawn; the CSV file holds all of them.", 7)
    yield Spacer(1, 1.5 * mm)
    yield text(record.document["caution"], 7)


def _table(grid: Grid) -> Table:
    shares = grid.shares or (1.0,) * len(grid.head)
    widths = [WIDTH * share / sum(shares) for share in shares]
    head = [text(cell, 7.2, bold=True) for cell in grid.head]
    rows = [[text(cell, 7.2) for cell in row] for row in grid.rows]
    return Table([head, *rows], colWidths=widths, style=HEADED, hAlign="LEFT", repeatRows=1)


def _image(picture: Picture) -> Image:
    """The chart on white, as wide as the page or as tall as fits."""
    image = Image(BytesIO(png(picture, Paper(size=Size.PRINT))))
    scale = min(WIDTH / image.imageWidth, TALLEST / image.imageHeight)
    image.drawWidth, image.drawHeight = image.imageWidth * scale, image.imageHeight * scale
    image.hAlign = "LEFT"
    return image
