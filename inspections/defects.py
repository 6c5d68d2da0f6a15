"""The life of defects as a fold over what was seen and signed, by the time it happened. Pure.

Any order of arrival gives the same defects: late reports and corrections are folded in at the moment people looked.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from inspections.models import Defect, Observation


@dataclass(frozen=True, slots=True)
class Looked:
    """Somebody looked at the item."""

    at: datetime
    id: int
    outcome: str
    blocks: bool


@dataclass(frozen=True, slots=True)
class Mended:
    """Somebody signed for the item: repaired, or no repair necessary."""

    at: datetime
    id: int


@dataclass(slots=True)
class Episode:
    """One defect from its first observation on."""

    opened_by: int
    opened_at: datetime
    seen_at: datetime
    blocks: bool
    state: Defect.State = Defect.State.OPEN
    repair: int | None = None
    repaired_at: datetime | None = None
    closed_by: int | None = None
    closed_at: datetime | None = None


def fold(events: Iterable[Looked | Mended]) -> list[Episode]:
    """Defects of one item of one unit, oldest first.

    A blocking defect closes when the item is seen in order *after* somebody signed for it. One that does not block
    also closes when the item is seen sound without a repair. A repair that is followed by the same defect is undone.
    """
    episodes: list[Episode] = []
    for event in sorted(events, key=_order):
        current = episodes[-1] if episodes and episodes[-1].state != Defect.State.CLOSED else None
        if isinstance(event, Mended):
            if current is not None:
                current.state, current.repair, current.repaired_at = Defect.State.REPAIRED, event.id, event.at
        elif event.outcome == Observation.Outcome.DEFECT:
            if current is None:
                episodes.append(Episode(event.id, event.at, event.at, event.blocks))
            else:
                current.state, current.seen_at = Defect.State.OPEN, event.at
                current.blocks = current.blocks or event.blocks
        elif current is not None and _closes(current, event):
            current.state, current.closed_by, current.closed_at = Defect.State.CLOSED, event.id, event.at
    return episodes


def _order(event: Looked | Mended) -> tuple[datetime, int, int]:
    """By time; at the same moment a defect comes before its repair, and the repair before the look that follows."""
    rank = 1 if isinstance(event, Mended) else 0 if event.outcome == Observation.Outcome.DEFECT else 2
    return event.at, rank, event.id


def _closes(current: Episode, event: Looked) -> bool:
    if event.outcome == Observation.Outcome.NOT_SEEN:
        return False
    if current.state == Defect.State.REPAIRED:
        return True
    return not current.blocks and event.outcome == Observation.Outcome.SOUND
