"""One code of a book as a value, and what differs between two books: pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

COLUMNS = ("code", "tier", "component", "meaning", "what_to_do")
LONGEST = {"code": 64, "component": 80, "meaning": 300, "what_to_do": 600}
MOST_ENTRIES = 2000


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a code book."""

    code: str
    tier: str
    component: str
    meaning: str
    what_to_do: str


@dataclass(frozen=True, slots=True)
class Change:
    """One field of one code that a new book says differently."""

    code: str
    field: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Difference:
    """What a new book changes in the one in force."""

    added: tuple[Entry, ...]
    removed: tuple[Entry, ...]
    changed: tuple[Change, ...]
    unchanged: int

    @property
    def empty(self) -> bool:
        return not (self.added or self.removed or self.changed)

    @property
    def lines(self) -> list[str]:
        """The difference as a person reads it, tiers first: they decide whether a unit may leave."""
        tiers = [change for change in self.changed if change.field == "tier"]
        others = [change for change in self.changed if change.field != "tier"]
        return [
            *(f"{change.code}: tier {change.before} → {change.after}" for change in tiers),
            *(f"{entry.code}: removed (was {entry.tier}: {entry.meaning})" for entry in self.removed),
            *(f"{entry.code}: new, {entry.tier}: {entry.meaning}" for entry in self.added),
            *(f"{change.code}: {change.field} “{change.before}” → “{change.after}”" for change in others),
        ]


def difference(before: Iterable[Entry], after: Iterable[Entry]) -> Difference:
    """What *after* changes in *before*, by code."""
    old, new = {entry.code: entry for entry in before}, {entry.code: entry for entry in after}
    shared = sorted(old.keys() & new.keys())
    changed = [change for code in shared for change in _changes(old[code], new[code])]
    return Difference(
        added=tuple(new[code] for code in sorted(new.keys() - old.keys())),
        removed=tuple(old[code] for code in sorted(old.keys() - new.keys())),
        changed=tuple(changed),
        unchanged=sum(old[code] == new[code] for code in shared),
    )


def _changes(old: Entry, new: Entry) -> list[Change]:
    return [
        Change(old.code, name, getattr(old, name), getattr(new, name))
        for name in COLUMNS[1:]
        if getattr(old, name) != getattr(new, name)
    ]


def twins(entries: Sequence[Entry]) -> list[int]:
    """Places of entries whose code stands further up already."""
    seen: set[str] = set()
    found = []
    for index, entry in enumerate(entries):
        if entry.code in seen:
            found.append(index)
        seen.add(entry.code)
    return found
