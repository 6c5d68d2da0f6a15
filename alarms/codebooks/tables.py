"""Code books as CSV: read strictly, written so that no spreadsheet runs a cell as a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from alarms.codebooks.entries import COLUMNS, LONGEST, MOST_ENTRIES, Entry, twins
from alarms.models import Tier
from fleet.errors import FieldError, InvalidInput

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""A cell that begins so is run by spreadsheets; we put an apostrophe before it, and take it off again when reading."""
MOST_ERRORS = 20


def read_csv(text: str) -> list[Entry]:
    """Entries of a table with the header code, tier, component, meaning, what_to_do in any order.

    Commas or semicolons part the cells. *Raises* InvalidInput, naming lines as a person counts them.
    """
    text = text.removeprefix("\ufeff")
    first = text.split("\n", 1)[0]
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=";" if ";" in first else ",", strict=True))
    except csv.Error as error:
        raise InvalidInput.at("/csv", "not-a-table", f"The table cannot be read: {error}.") from error
    if not rows or sorted(cell.strip() for cell in rows[0]) != sorted(COLUMNS):
        raise InvalidInput.at("/csv", "bad-header", f"The first line must name these columns: {', '.join(COLUMNS)}.")
    header = [cell.strip() for cell in rows[0]]
    lines = [(number, row) for number, row in enumerate(rows[1:], start=2) if any(cell.strip() for cell in row)]
    return _entries(header, lines)


def _entries(header: Sequence[str], lines: Sequence[tuple[int, Sequence[str]]]) -> list[Entry]:
    if len(lines) > MOST_ENTRIES:
        raise InvalidInput.at("/csv", "too-many", f"{len(lines)} codes; at most {MOST_ENTRIES} are taken.")
    entries: list[Entry] = []
    errors: list[FieldError] = []
    for number, row in lines:
        if len(row) != len(header):
            errors.append(_fault(number, f"{len(row)} cells instead of {len(header)}."))
            continue
        entry = Entry(**{name: _bare(cell) for name, cell in zip(header, row, strict=True)})
        errors += [_fault(number, fault) for fault in faults_of(entry)]
        entries.append(entry)
    if not errors:
        errors = [
            _fault(lines[place][0], f"Code {entries[place].code} stands further up too.") for place in twins(entries)
        ]
    if errors:
        raise InvalidInput(errors=errors[:MOST_ERRORS])
    return entries


def _bare(cell: str) -> str:
    cell = cell.strip()
    return cell[1:] if cell.startswith("'") and _runs(cell) else cell


def faults_of(entry: Entry) -> list[str]:
    """What is wrong with one entry, in words."""
    faults = []
    if entry.tier not in Tier.values:
        faults.append(f"Tier {entry.tier!r} is not one of {', '.join(Tier.values)}.")
    for name, longest in LONGEST.items():
        value = getattr(entry, name)
        if not value:
            faults.append(f"{name} is empty.")
        if len(value) > longest:
            faults.append(f"{name} has {len(value)} characters; at most {longest} are kept.")
        if any(ord(character) < 32 for character in value):
            faults.append(f"{name} holds a control character or a line break.")
    return faults


def _fault(line: int, detail: str) -> FieldError:
    return FieldError("/csv", "bad-line", f"Line {line}: {detail}")


def write_csv(entries: Iterable[Entry]) -> str:
    """The table of these entries, with its header; `read_csv` reads it back to the same entries."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for entry in entries:
        writer.writerow([_safe(getattr(entry, name)) for name in COLUMNS])
    return out.getvalue()


def _safe(cell: str) -> str:
    return f"'{cell}" if _runs(cell) else cell


def _runs(cell: str) -> bool:
    """Whether a spreadsheet would run the cell, apostrophes before it left aside."""
    return cell.lstrip("'").startswith(FORMULA)
