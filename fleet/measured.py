"""What readings have told of one unit, as a document and a fold that does not depend on the order of arrival.

A reading's values arrive together, so they are kept together: a group holds all values whose newest time and source
are the group's. A unit that always sends the same fields has one group, whatever their number, and the next reading
replaces it whole. That is what makes the fold, the text and its row cheap; `values_of` gives back the plain form.

The newest group is stored apart from the rest, with its *shape*: which names it tells. A newer reading of the same
shape replaces it and leaves the rest as it is, whatever that is, so that neither has to be read (`fleet.ingest.swift`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import datetime
from typing import Any

import msgspec

from fleet.packed import pack_group, unpack_group
from fleet.stamps import stamp

Entry = list[Any]
"""[value, at, source]: *at* as fixed-width text, so that [at, source] compare as they should."""

LAST_ON, FIRST_OFF, FIRST_ENGINE_HOURS = "fleet.last_on", "fleet.first_off", "fleet.first_engine_hours"
"""Facts that readings tell besides their values: when the unit was last on, when it was first seen off, and the first
counter of engine hours. The last two keep their earliest moment instead of their newest."""
NOTHING = '{"newest":[],"oldest":{}}'


class Group(msgspec.Struct, array_like=True, gc=False):
    """Values whose newest time and source are these."""

    at: datetime
    source: str
    values: dict[str, Any]


class First(msgspec.Struct, array_like=True, gc=False):
    """A value that keeps its earliest moment."""

    value: Any
    at: datetime
    source: str


class Measured(msgspec.Struct, gc=False):
    """Groups, the newest first, no name in two of them; and the values that keep their earliest moment."""

    newest: list[Group]
    oldest: dict[str, First]

    @property
    def newest_at(self) -> datetime | None:
        """Time of the newest reading: each tells at least one value, which nothing older can take away."""
        return self.newest[0].at if self.newest else None

    def take(self, at: datetime, source: str, values: dict[str, Any]) -> bool:
        """Takes the values of one reading, which become this document's; says whether any of them was news."""
        moved = self._take_firsts(at, source, values)
        if values.get("unit_on"):
            values[LAST_ON] = True
        first = self.newest[0] if self.newest else None
        if first is None or at > first.at or (at == first.at and source > first.source):
            self._put_newest(Group(at, source, values))
            return True
        return self._take_late(at, source, values) or moved

    def _put_newest(self, new: Group) -> None:
        names = new.values.keys()
        kept = [group for group in self.newest if not group.values.keys() <= names]
        for group in kept:
            _forget(group, names)
        self.newest = [new, *kept]

    def _take_late(self, at: datetime, source: str, values: dict[str, Any]) -> bool:
        moment = (at, source)
        newer = {name for group in self.newest if (group.at, group.source) >= moment for name in group.values}
        news = {name: value for name, value in values.items() if name not in newer}
        if not news:
            return False
        for group in self.newest:
            _forget(group, news.keys())
        groups = [group for group in self.newest if group.values]
        same = next((group for group in groups if (group.at, group.source) == moment), None)
        if same is None:
            groups.append(Group(at, source, news))
            groups.sort(key=lambda group: (group.at, group.source), reverse=True)
        else:
            same.values |= news
        self.newest = groups
        return True

    def _take_firsts(self, at: datetime, source: str, values: dict[str, Any]) -> bool:
        moved = False
        engine_h = values.get("engine_hours_h")
        if engine_h is not None:
            moved = self._take_first(FIRST_ENGINE_HOURS, engine_h, at, source)
        if values.get("unit_on") is False:
            moved = self._take_first(FIRST_OFF, True, at, source) or moved
        return moved

    def _take_first(self, name: str, value: Any, at: datetime, source: str) -> bool:
        known = self.oldest.get(name)
        if known is not None and (known.at, known.source) <= (at, source):
            return False
        self.oldest[name] = First(value, at, source)
        return True


def _forget(group: Group, names: Any) -> None:
    for name in group.values.keys() & names:
        del group.values[name]


def shape_of(names: Iterable[str], *, on: bool) -> int:
    """A number that two groups share if they tell the same names, and both or neither that the unit is on.

    Made from the names, so that it holds from release to release. Never 0, which is the shape of nothing.
    """
    text = ",".join(sorted(names)) + (" on" if on else "")
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest(), "big", signed=True) or 1


class Stored(msgspec.Struct, gc=False):
    """A document as its row holds it."""

    newest: bytes
    """The newest group (`fleet.packed`), empty where there is none."""
    rest: str
    newest_at: datetime | None
    shape: int


_decoder = msgspec.json.Decoder(Measured)
_encoder = msgspec.json.Encoder()


def read_measured(newest: bytes, rest: str) -> Measured:
    """The document of its stored parts."""
    document = _decoder.decode(rest)
    if newest:
        at, values, source = unpack_group(newest)
        if values.get("unit_on"):
            values[LAST_ON] = True
        if "latitude" in values:
            values["position"] = [values.pop("latitude"), values.pop("longitude")]
        document.newest.insert(0, Group(at, source, values))
    return document


def stored_form(document: Measured) -> Stored:
    """A document as it is stored, and what is known of it without reading it."""
    if not document.newest:
        return Stored(b"", _encoder.encode(document).decode(), None, 0)
    first, *others = document.newest
    values = {name: value for name, value in first.values.items() if name != LAST_ON}
    shape = shape_of(values, on=bool(values.get("unit_on")))
    if "position" in values:
        values["latitude"], values["longitude"] = values.pop("position")
    rest = _encoder.encode(Measured(others, document.oldest)).decode()
    return Stored(pack_group(first.at, values, first.source), rest, first.at, shape)


def values_of(measured: Measured) -> dict[str, Entry]:
    """Each measured value as [value, at, source]."""
    return {name: entry for name, entry in _newest(measured).items() if name != LAST_ON}


def told_of(measured: Measured) -> dict[str, Entry]:
    """Each fact that readings tell besides their values, in the same form."""
    told = {name: [first.value, stamp(first.at), first.source] for name, first in measured.oldest.items()}
    newest = _newest(measured)
    return told | {LAST_ON: newest[LAST_ON]} if LAST_ON in newest else told


def _newest(measured: Measured) -> dict[str, Entry]:
    found: dict[str, Entry] = {}
    for group in measured.newest:
        at = stamp(group.at)
        for name, value in group.values.items():
            found[name] = [value, at, group.source]
    return found
