"""The answer of one check, and how answers become a verdict. Pure values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Any

import msgspec

from fleet.models.readiness import Verdict


class Outcome(StrEnum):
    """`pending` = a fact is missing but not due yet; `unknown` = it is missing and due."""

    PASS = "pass"
    PENDING = "pending"
    CONCERN = "concern"
    BLOCK = "block"
    UNKNOWN = "unknown"


# A member of an enumeration is looked up slowly; a ranking asks for these a hundred thousand times.
PASS, BLOCK, UNKNOWN = Outcome.PASS, Outcome.BLOCK, Outcome.UNKNOWN
READY, CONDITIONAL = Verdict.READY, Verdict.CONDITIONAL
UNDECIDED, BLOCKED = Verdict.UNKNOWN, Verdict.BLOCKED


NOTHING: Mapping[str, Any] = MappingProxyType({})
"""What most checks add to an answer beside their finding."""


class Remedy(msgspec.Struct, frozen=True, gc=False):
    """What would change the answer. `amount` is there when it can be computed; `then` is the outcome it was shown
    to lead to (by running the check again), None when nothing was computed."""

    action: str
    text: str
    amount: float | None = None
    unit: str = ""
    then: Outcome | None = None


class Finding(msgspec.Struct, frozen=True, gc=False):
    """The answer of one check for one trip and unit at one moment.

    A struct, because a ranking makes twenty thousand: a frozen dataclass of as many fields takes thirty times as long,
    a named tuple ten times.
    """

    check: str
    outcome: Outcome
    message: str
    source: str
    measured: float | None = None
    required: float | None = None
    unit: str = ""
    margin: float | None = None
    due_at: datetime | None = None
    remedy: Remedy | None = None
    subjects: tuple[str, ...] = ()
    """What the finding is about, when one check can have several causes (alarm ids, items)."""
    releasable: bool = True
    """Whether a manager may release a trip in spite of it."""
    signed_at: datetime | None = None
    """Moment a person's signature made it what it is, if one did."""
    changes_at: datetime | None = None
    """Earliest moment at which silence alone changes the outcome."""
    contributes: Mapping[str, Any] = NOTHING
    """What the check adds to the answer beside its finding (`score`, `forecast`)."""

    def cause_keys(self) -> tuple[str, ...]:
        return tuple(f"{self.check}:{subject}" for subject in self.subjects) or (self.check,)


def verdict_of(findings: Sequence[Finding], *, required: frozenset[str]) -> Verdict:
    """The verdict of a whole assessment: any block, else any unknown in a required check, else anything open."""
    verdict = READY if findings else UNDECIDED
    for finding in findings:
        outcome = finding.outcome
        if outcome is PASS:
            continue
        if outcome is BLOCK:
            return BLOCKED
        if outcome is UNKNOWN and finding.check in required:
            verdict = UNDECIDED
        elif verdict is READY:
            verdict = CONDITIONAL
    return verdict


def causes_of(findings: Iterable[Finding], *, required: frozenset[str]) -> list[Finding]:
    """The findings that make a verdict `blocked` or `unknown`."""
    return [
        finding
        for finding in findings
        if finding.outcome is BLOCK or (finding.outcome is UNKNOWN and finding.check in required)
    ]


def score_in_words(score: float) -> str:
    """Whole points for people, "more than 99" and "less than 1" at the ends: the model's own error is larger than a
    tenth of a point, and no departure is certain."""
    if score > 99.5:
        return "more than 99"
    return "less than 1" if score < 0.5 else f"{score:.0f}"
