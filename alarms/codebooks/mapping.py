"""What a fault means: by the code book in force, else by the open numbering, else by our own rules, else unmapped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.db.models import OuterRef, Subquery

from alarms.learned import LEARNED
from alarms.models import CodeBook, CodeEntry, Mapping, Scheme, Tier
from alarms.rules import BY_CODE, Meaning, meaning_of_pair, pair_of, unmapped
from fleet.models import Unit

Identity = tuple[int, str, str]


def meanings_of(identities: Sequence[Identity]) -> dict[Identity, Meaning]:
    """Meanings of faults given as (unit id, scheme, code): two statements, however many."""
    reported = [identity for identity in identities if identity[1] != Scheme.DERIVED]
    models = dict(
        Unit.objects.across_fleets()
        .filter(pk__in={unit_id for unit_id, _, _ in reported})
        .values_list("pk", "model_id")
    )
    entries = entries_in_force(set(models.values()), codes={code for _, _, code in reported}) if reported else {}
    return {
        (unit_id, scheme, code): meaning_of(scheme, code, entries.get((models.get(unit_id, 0), code)))
        for unit_id, scheme, code in identities
    }


def entries_in_force(model_ids: Iterable[int], *, codes: Iterable[str]) -> dict[tuple[int, str], CodeEntry]:
    """Entries of the newest books of these unit models by (model id, code)."""
    newest = CodeBook.objects.across_fleets().filter(unit_model_id=OuterRef("book__unit_model_id")).order_by("-version")
    rows = (
        CodeEntry.objects.across_fleets()
        .filter(book__unit_model_id__in=set(model_ids), code__in=set(codes))
        .filter(book_id=Subquery(newest.values("pk")[:1]))
        .select_related("book")
    )
    return {(row.book.unit_model_id, row.code): row for row in rows}


def meaning_of(scheme: str, code: str, entry: CodeEntry | None) -> Meaning:
    """What one code means. A book's entry stands above the open numbering; nothing stands above our own rules."""
    if scheme == Scheme.DERIVED:
        rule = BY_CODE.get(code)
        return rule.words if rule is not None else LEARNED.get(code) or unmapped(code)
    if entry is not None:
        return Meaning(Tier(entry.tier), entry.component, entry.meaning, entry.what_to_do, Mapping.BOOK)
    if scheme == Scheme.J1939:
        return meaning_of_pair(*pair_of(code))
    return unmapped(code)
