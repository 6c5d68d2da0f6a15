"""Imports a code book as a new version and applies it to the records that are open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import F

from alarms.codebooks.entries import COLUMNS, Difference, Entry, difference
from alarms.codebooks.remapping import Remapped, remap
from alarms.models import CodeBook, CodeEntry
from fleet.bell import ASSESS_TASK, ring
from fleet.errors import InvalidInput
from fleet.models import Fleet, Member, Unit, UnitModel
from fleet.records.audit import record_act
from fleet.retry import on_conflict
from fleet.trips.due import make_due
from fleet.units.state import lock_states


@dataclass(frozen=True, slots=True)
class Import:
    """What an import did, or (dry run) would do."""

    unit_model: str
    book: CodeBook | None
    """The book in force afterwards; in a dry run the one in force now."""
    dry_run: bool
    difference: Difference
    remapped: tuple[Remapped, ...]
    """Open alarms whose tier or words the book changes."""

    @property
    def stored(self) -> bool:
        return not self.dry_run and not self.difference.empty


class _DryRun(Exception):
    """Carries the result of a dry run out of its transaction, which is taken back."""

    def __init__(self, result: Import) -> None:
        self.result = result


def import_code_book(
    fleet: Fleet, key: str, entries: Sequence[Entry], *, note: str, dry_run: bool, by: Member, now: datetime
) -> Import:
    """Replaces the code book of a unit model as a whole by a new version, and maps its open alarms again.

    A book that says the same as the one in force makes no version. *Raises* InvalidInput for an unknown model.
    """

    def work() -> Import:
        try:
            with transaction.atomic():
                result = _import(fleet, key, entries, note=note, dry_run=dry_run, by=by, now=now)
                if dry_run:
                    raise _DryRun(result)
                return result
        except _DryRun as dry:
            return dry.result

    return on_conflict(work)


def _import(
    fleet: Fleet, key: str, entries: Sequence[Entry], *, note: str, dry_run: bool, by: Member, now: datetime
) -> Import:
    model_id = UnitModel.objects.for_fleet(fleet).filter(key=key).values_list("pk", flat=True).first()
    if model_id is None:
        raise InvalidInput.at("/unit_model", "unknown-model", "There is no such unit model.")
    unit_ids = list(Unit.objects.for_fleet(fleet).filter(model_id=model_id).values_list("pk", flat=True))
    lock_states(unit_ids)
    model: UnitModel = UnitModel.objects.for_fleet(fleet).select_for_update().get(pk=model_id)
    book = book_in_force(model)
    found = difference(entries_of(book) if book else [], entries)
    if found.empty:
        return Import(key, book, dry_run, found, ())
    new = _store(model, book, entries, note, by, now)
    remapped = remap(fleet.pk, unit_ids, now=now, silent=dry_run)
    if not dry_run:
        UnitModel.objects.for_fleet(fleet).filter(pk=model.pk).update(version=F("version") + 1)
        make_due(unit_ids, at=now)
        content = {"unit_model": key, "version": new.version, "lines": found.lines[:200], "remapped": len(remapped)}
        record_act(by, act="code_book.imported", subject=new, at=now, content=content)
        ring(ASSESS_TASK)
    return Import(key, book if dry_run else new, dry_run, found, tuple(remapped))


def _store(
    model: UnitModel, book: CodeBook | None, entries: Sequence[Entry], note: str, by: Member, now: datetime
) -> CodeBook:
    new = CodeBook.objects.create(
        fleet_id=model.fleet_id,
        unit_model=model,
        version=1 if book is None else book.version + 1,
        entry_count=len(entries),
        note=note,
        imported_at=now,
        imported_by=by,
    )
    rows = [CodeEntry(book=new, **{name: getattr(entry, name) for name in COLUMNS}) for entry in entries]
    CodeEntry.objects.bulk_create(rows)
    return new


def book_in_force(model: UnitModel) -> CodeBook | None:
    """The newest version of the model's book."""
    newest: CodeBook | None = (
        CodeBook.objects.for_fleet(model.fleet_id).filter(unit_model=model).order_by("-version").first()
    )
    return newest


def entries_of(book: CodeBook) -> list[Entry]:
    """Entries of one book by code."""
    rows = CodeEntry.objects.for_fleet(book.fleet_id).filter(book=book).order_by("code").values_list(*COLUMNS)
    return [Entry(*row) for row in rows]
