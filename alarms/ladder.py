"""The one table that says after how many minutes a notice takes which step, on which channel, to whom.

A step that is passed over while the service was down is not caught up: only the newest step that is due is taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum


class Urgency(StrEnum):
    """How soon somebody has to know."""

    PLANNED = "planned"
    SOON = "soon"
    NOW = "now"

    @property
    def rank(self) -> int:
        return (Urgency.PLANNED, Urgency.SOON, Urgency.NOW).index(self)


class Pick(StrEnum):
    """Which of a person's channels, or which of the people in their order."""

    FIRST = "first"
    NEXT = "next"
    ALL = "all"


@dataclass(frozen=True, slots=True)
class Rung:
    """One row: steps *step* to *last* (None: without end) of an urgency.

    `after_min` counts from the first message of the round (step 0: from the cause itself). With `every`, it counts
    from the step before instead.
    """

    urgency: Urgency
    step: int
    after_min: float
    channel: Pick
    person: Pick
    last: int | None
    every: bool = False


NOW, SOON, PLANNED = Urgency.NOW, Urgency.SOON, Urgency.PLANNED
LADDER: tuple[Rung, ...] = (
    # urgency, step, minutes, channel, person, last step of the row
    Rung(NOW, 0, 0, Pick.FIRST, Pick.FIRST, 0),
    Rung(NOW, 1, 5, Pick.NEXT, Pick.FIRST, 1),
    Rung(NOW, 2, 10, Pick.FIRST, Pick.NEXT, 2),
    Rung(NOW, 3, 20, Pick.ALL, Pick.ALL, 3),
    Rung(NOW, 4, 15, Pick.ALL, Pick.ALL, 11, every=True),
    Rung(NOW, 12, 60, Pick.ALL, Pick.ALL, None, every=True),
    Rung(SOON, 0, 0.5, Pick.FIRST, Pick.FIRST, 0),
    Rung(SOON, 1, 15, Pick.NEXT, Pick.FIRST, 1),
    Rung(SOON, 2, 45, Pick.FIRST, Pick.NEXT, 2),
    Rung(SOON, 3, 120, Pick.ALL, Pick.ALL, None, every=True),
    Rung(PLANNED, 0, 2, Pick.FIRST, Pick.FIRST, 0),
    Rung(PLANNED, 1, 240, Pick.ALL, Pick.FIRST, 1),
)


def rung_of(urgency: Urgency, step: int) -> Rung | None:
    """The row of a step; None when the ladder of this urgency has ended."""
    for rung in LADDER:
        if rung.urgency is urgency and rung.step <= step and (rung.last is None or step <= rung.last):
            return rung
    return None


def due_at(urgency: Urgency, step: int, *, started_at: datetime, stepped_at: datetime) -> datetime | None:
    """When a step after the first falls due in a round that began at *started_at*; None when there is none."""
    rung = rung_of(urgency, step)
    if rung is None:
        return None
    return (stepped_at if rung.every else started_at) + timedelta(minutes=rung.after_min)


def newest_due(
    urgency: Urgency, *, after: int, started_at: datetime, stepped_at: datetime, now: datetime
) -> int | None:
    """The last step after *after* that is due now; None when none is.

    Steps counted from the start of the round may have been slept through together; then only the last counts.
    """
    found = None
    step = after + 1
    while (rung := rung_of(urgency, step)) is not None:
        due = due_at(urgency, step, started_at=started_at, stepped_at=stepped_at)
        passed_over = rung.every and step > after + 1  # it counts from a step that has not been taken
        if due is None or due > now or passed_over:
            break
        found = step
        step += 1
    return found
