"""Runs all checks for many trips at once and puts the answers together. Reads no rows itself, writes none."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from fleet.models.readiness import Verdict
from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, causes_of, verdict_of
from fleet.readiness.registry import Check, Gather, checks, required_ids

logger = logging.getLogger(__name__)

LONGEST_VALID = timedelta(hours=1)
"""No answer is called current for longer, even when no rule of time would change it."""
BROKEN_RETRY = timedelta(minutes=1)
"""A check that failed is asked again after this; the worker backs off further."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One assessment of one trip and unit, not stored yet."""

    facts: Facts
    verdict: Verdict
    findings: tuple[Finding, ...]
    causes: tuple[Finding, ...]
    score: float | None
    score_se: float | None
    extras: Mapping[str, Any]
    computed_at: datetime
    valid_until: datetime
    broken: tuple[str, ...]
    """Ids of checks that failed: their answer is `unknown`, and somebody has to look."""


class _Failed:
    """Stands for the result of a gather that raised."""

    def __init__(self, error: Exception) -> None:
        self.error = error


def assess(many: Sequence[Facts], *, now: datetime, leaving: bool = False) -> list[Answer]:
    """Answers for all given trips, in the same order. Each gather runs once; a failing check is `unknown`.

    *leaving*: the trip is about to depart, so whatever is due by departure is due now.
    """
    gathered: dict[Gather, Mapping[tuple[int, int], Any] | _Failed] = {}
    for check in checks:
        if check.gather is not None and check.gather not in gathered and many:
            gathered[check.gather] = _gather(check, many, now)
    required = required_ids()
    return [_answer(facts, gathered, required, now, leaving) for facts in many]


def _gather(check: Check, many: Sequence[Facts], now: datetime) -> Mapping[tuple[int, int], Any] | _Failed:
    assert check.gather is not None
    try:
        return check.gather(many, now)
    except Exception as error:
        logger.exception("The facts of check %s could not be gathered", check.id)
        return _Failed(error)


def _answer(
    facts: Facts,
    gathered: Mapping[Gather, Mapping[tuple[int, int], Any] | _Failed],
    required: frozenset[str],
    now: datetime,
    leaving: bool,
) -> Answer:
    findings: list[Finding] = []
    broken: list[str] = []
    for check in checks:
        if facts.trip.phase not in check.phases:
            continue
        finding = _ask(check, facts, gathered, now, facts.trip.depart_at if leaving else now)
        if finding is None:
            broken.append(check.id)
            finding = _unanswered(check)
        findings.append(finding)
    extras: dict[str, Any] = {}
    for finding in findings:
        for key, value in finding.contributes.items():
            extras[key] = extras[key] | value if isinstance(value, dict) and key in extras else value
    return Answer(
        facts=facts,
        verdict=verdict_of(findings, required=required),
        findings=tuple(findings),
        causes=tuple(causes_of(findings, required=required)),
        score=extras.pop("score", None),
        score_se=extras.pop("score_se", None),
        extras=extras,
        computed_at=now,
        valid_until=_valid_until(findings, facts, broken, now),
        broken=tuple(broken),
    )


def _ask(
    check: Check,
    facts: Facts,
    gathered: Mapping[Gather, Mapping[tuple[int, int], Any] | _Failed],
    now: datetime,
    due_when: datetime,
) -> Finding | None:
    """The finding with its due time, None when the check failed: then it is unknown at once, never pending."""
    material = None
    if check.gather is not None:
        found = gathered[check.gather]
        if isinstance(found, _Failed):
            return None
        material = found.get((facts.trip.id, facts.unit.id))
    try:
        return _with_due_time(check.judge(facts, material, now), check, facts, due_when)
    except Exception:
        logger.exception("Check %s failed for trip %s", check.id, facts.trip.reference)
        return None


def _unanswered(check: Check) -> Finding:
    return Finding(
        check=check.id,
        outcome=Outcome.UNKNOWN,
        message="This check could not be carried out. The service's operator has been told.",
        source="rule: a check that fails is never a pass",
    )


def _with_due_time(finding: Finding, check: Check, facts: Facts, at: datetime) -> Finding:
    """The finding with its due time; unknown before that is pending, and pending after it is unknown."""
    due_at = check.due(facts)
    if due_at is None:
        return finding
    if finding.outcome is Outcome.PENDING and at >= due_at:
        return replace(finding, outcome=Outcome.UNKNOWN, due_at=due_at)
    if finding.outcome is Outcome.UNKNOWN and at < due_at:
        return replace(finding, outcome=Outcome.PENDING, due_at=due_at, changes_at=due_at)
    return replace(finding, due_at=due_at) if finding.outcome is Outcome.UNKNOWN else finding


def _valid_until(findings: Sequence[Finding], facts: Facts, broken: Sequence[str], now: datetime) -> datetime:
    moments = [finding.changes_at for finding in findings if finding.changes_at is not None]
    moments += [now + (BROKEN_RETRY if broken else LONGEST_VALID)]
    moments += [moment for moment in (facts.trip.loading_at, facts.trip.depart_at) if moment > now]
    return max(min(moments), now + timedelta(seconds=1))
