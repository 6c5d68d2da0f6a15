"""Runs all checks for many trips at once and puts the answers together. Reads no rows itself, writes none."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby, repeat
from typing import Any

import msgspec
from msgspec.structs import replace

from fleet.models.readiness import Verdict
from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, causes_of, verdict_of
from fleet.readiness.registry import Check, Gather, checks, required_ids

logger = logging.getLogger(__name__)

# A member of an enumeration is looked up slowly, and a ranking asks for it a hundred thousand times.
UNKNOWN, PENDING = Outcome.UNKNOWN, Outcome.PENDING
NOT_TO_GO = (Verdict.BLOCKED, Verdict.UNKNOWN)
LONGEST_VALID = timedelta(hours=1)
"""No answer is called current for longer, even when no rule of time would change it."""
SHORTEST_VALID = timedelta(seconds=1)
BROKEN_RETRY = timedelta(minutes=1)
"""A check that failed is asked again after this; the worker backs off further."""


class Answer(msgspec.Struct, frozen=True, gc=False):
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


Gathered = Mapping[tuple[int, int], Any] | _Failed


Material = Sequence[Any] | _Failed
"""What a gather found for each unit of one trip."""


@dataclass(frozen=True, slots=True)
class _Question:
    """One check as it is asked of every unit of one trip."""

    check: Check
    material: Material
    due_at: datetime | None
    is_due: bool


def assess(many: Sequence[Facts], *, now: datetime, leaving: bool = False) -> list[Answer]:
    """Answers for all given trips, in the same order. Each gather runs once; a failing check is `unknown`.

    *leaving*: the trip is about to depart, so whatever is due by departure is due now.
    """
    gathered: dict[Gather, Gathered] = {}
    for check in checks:
        if check.gather is not None and check.gather not in gathered and many:
            gathered[check.gather] = _gather(check, many, now)
    required = required_ids()
    answers: list[Answer] = []
    for _, group in groupby(many, key=lambda facts: (id(facts.trip), id(facts.policy))):
        alike = list(group)
        questions = _questions(alike, gathered, alike[0].trip.depart_at if leaving else now)
        broken: dict[int, list[str]] = {}
        # One check after the other, not one unit after the other: its code stays in the processor's cache.
        asked = [_ask(question, alike, broken, now) for question in questions]
        found = zip(*asked, strict=True) if asked else repeat((), len(alike))
        answers += [
            _answer(facts, findings, broken.get(place, ()), required, now)
            for place, (facts, findings) in enumerate(zip(alike, found, strict=True))
        ]
    return answers


def _gather(check: Check, many: Sequence[Facts], now: datetime) -> Gathered:
    assert check.gather is not None
    try:
        return check.gather(many, now)
    except Exception as error:
        logger.exception("The facts of check %s could not be gathered", check.id)
        return _Failed(error)


def _questions(alike: Sequence[Facts], gathered: Mapping[Gather, Gathered], due_when: datetime) -> list[_Question]:
    """What is asked about these units' trip; when a fact is due follows from the trip and the policy alone."""
    keys = [(facts.trip.id, facts.unit.id) for facts in alike]
    materials: dict[Gather | None, Material] = {None: [None] * len(alike)}
    for gather, found in gathered.items():
        materials[gather] = found if isinstance(found, _Failed) else [found.get(key) for key in keys]
    return [
        _question(check, alike[0], materials[check.gather], due_when)
        for check in checks
        if alike[0].trip.phase in check.phases
    ]


def _question(check: Check, facts: Facts, material: Material, due_when: datetime) -> _Question:
    try:
        due_at = check.due(facts)
    except Exception as error:
        logger.exception("When check %s is due cannot be told for trip %s", check.id, facts.trip.reference)
        return _Question(check, _Failed(error), None, is_due=True)
    return _Question(check, material, due_at, is_due=due_at is None or due_when >= due_at)


def _answer(
    facts: Facts, findings: tuple[Finding, ...], broken: Sequence[str], required: frozenset[str], now: datetime
) -> Answer:
    extras: dict[str, Any] = {}
    until = now + (BROKEN_RETRY if broken else LONGEST_VALID)
    for finding in findings:
        if finding.contributes:
            _contribute(finding.contributes, extras)
        if finding.changes_at is not None and finding.changes_at < until:
            until = finding.changes_at
    verdict = verdict_of(findings, required=required)
    return Answer(
        facts=facts,
        verdict=verdict,
        findings=findings,
        causes=tuple(causes_of(findings, required=required)) if verdict in NOT_TO_GO else (),
        score=extras.pop("score", None),
        score_se=extras.pop("score_se", None),
        extras=extras,
        computed_at=now,
        valid_until=_valid_until(until, facts, now),
        broken=tuple(broken),
    )


def _contribute(more: Mapping[str, Any], extras: dict[str, Any]) -> None:
    for key, value in more.items():
        if isinstance(value, dict):
            extras.setdefault(key, {}).update(value)
        else:
            extras[key] = value


def _ask(question: _Question, alike: Sequence[Facts], broken: dict[int, list[str]], now: datetime) -> list[Finding]:
    """The finding for each unit. Where the check failed it is unknown at once, never pending, and its id stands in
    *broken* at the unit's place."""
    check, judge, material = question.check, question.check.judge, question.material
    said: list[Finding] = []
    if isinstance(material, _Failed):
        for place in range(len(alike)):
            broken.setdefault(place, []).append(check.id)
        return [_unanswered(check)] * len(alike)
    for place, (facts, given) in enumerate(zip(alike, material, strict=True)):
        try:
            said.append(_with_due_time(judge(facts, given, now), question))
        except Exception:
            logger.exception("Check %s failed for trip %s", check.id, facts.trip.reference)
            broken.setdefault(place, []).append(check.id)
            said.append(_unanswered(check))
    return said


def _unanswered(check: Check) -> Finding:
    return Finding(
        check=check.id,
        outcome=Outcome.UNKNOWN,
        message="This check could not be carried out. The service's operator has been told.",
        source="rule: a check that fails is never a pass",
    )


def _with_due_time(finding: Finding, question: _Question) -> Finding:
    """The finding with its due time; unknown before that is pending, and pending after it is unknown."""
    outcome, due_at = finding.outcome, question.due_at
    if due_at is None or (outcome is not UNKNOWN and outcome is not PENDING):
        return finding
    if question.is_due:
        return replace(finding, outcome=UNKNOWN, due_at=due_at)
    if outcome is UNKNOWN:
        return replace(finding, outcome=PENDING, due_at=due_at, changes_at=due_at)
    return finding


def _valid_until(until: datetime, facts: Facts, now: datetime) -> datetime:
    """Until when an answer holds that no finding changes before *until*: not beyond loading or departure."""
    for moment in (facts.trip.loading_at, facts.trip.depart_at):
        if now < moment < until:
            until = moment
    return max(until, now + SHORTEST_VALID)
