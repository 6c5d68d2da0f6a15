"""What a check is, and the list of all of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fleet.durations import hours
from fleet.models.readiness import Phase
from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding
from fleet.registry import Registry

Gather = Callable[[Sequence[Facts], datetime], Mapping[tuple[int, int], Any]]
"""Facts of many trips and the time → something per (trip id, unit id). At most one query, however many trips."""

BOTH: frozenset[Phase] = frozenset(Phase)
PLANNED: frozenset[Phase] = frozenset({Phase.PLANNED})


def at_loading(facts: Facts) -> datetime:
    return facts.trip.loading_at


def at_preheat(facts: Facts) -> datetime:
    return facts.trip.loading_at - hours(facts.policy.preheat_h)


def at_departure(facts: Facts) -> datetime:
    return facts.trip.depart_at


def always(facts: Facts) -> datetime | None:
    """For facts that are the caller's to give with the trip: missing is unknown at once."""
    return None


@dataclass(frozen=True, slots=True)
class Words:
    """What docs/readiness-checks.md says of a check."""

    asks: str
    blocks: str = "–"
    concern: str = "–"
    unknown: str = "–"


@dataclass(frozen=True, slots=True)
class Check:
    """One question readiness asks.

    `judge(facts, gathered, now)` is pure. `gather`, when given, runs once for all trips of a batch; checks that share
    one gather function share its result. Before `due(facts)`, which looks at trip and policy only, a missing fact is
    pending, after it unknown.
    """

    id: str
    words: Words
    judge: Callable[[Facts, Any, datetime], Finding]
    required: bool = True
    due: Callable[[Facts], datetime | None] = always
    phases: frozenset[Phase] = BOTH
    gather: Gather | None = None


checks: Registry[Check] = Registry("readiness checks")


def required_ids() -> frozenset[str]:
    return frozenset(check.id for check in checks if check.required)
