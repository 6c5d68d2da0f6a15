"""Whether to send a notice now, to whom, and when to look again: a pure decision with a named reason.

Nothing here reads a clock or a row. `decide` is driven by the table in `alarms.ladder`; docs/notices.md explains each
reason to the people who receive the messages.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from alarms.audience import RouteFacts, audience_of, untried
from alarms.ladder import LADDER, Urgency, due_at, newest_due, rung_of
from alarms.notice_facts import NoticeFacts, SubjectFacts

SEEN_AT_LEAST = timedelta(minutes=15)
SEEN_AT_MOST = timedelta(hours=4)
SEEN_BEFORE_DEPARTURE = timedelta(minutes=60)
REVIEW = timedelta(hours=24)
"""A notice whose ladder has ended is looked at again after this: every unanswered notice has a next look."""


class Reason(StrEnum):
    """Why a notice was, or was not, sent."""

    FIRST = "first"
    NEW_CAUSE = "new_cause"
    MORE_URGENT = "more_urgent"
    SEEN_LAPSED = "seen_lapsed"
    NEXT_STEP = "next_step"
    REPEAT_DUE = "repeat_due"
    CLOSED = "closed"
    SUMMARY = "summary"
    UNDELIVERABLE = "undeliverable"
    MUTED_BY_STOP = "muted_by_stop"
    SEEN = "seen"
    QUIET_HOURS = "quiet_hours"
    CLEARING = "clearing"
    NOTHING = "nothing"


RESTARTS = frozenset({Reason.FIRST, Reason.NEW_CAUSE, Reason.MORE_URGENT, Reason.SEEN_LAPSED})
"""Reasons that begin a new round: step 0, the first person again."""


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do now, and when to look again at the latest."""

    reason: Reason
    next_at: datetime | None
    urgency: Urgency | None = None
    step: int = -1
    restart: bool = False
    """A new round begins with this step."""
    routes: tuple[int, ...] = ()
    summarised: frozenset[int] = frozenset()
    """Those of `routes` whose person is over the hourly limit: the message becomes a line of a summary."""
    owner: bool = False
    """No channel takes it: the fleet's owner is told."""
    closing: tuple[int, ...] = ()
    """Subjects whose end is told."""

    @property
    def sends(self) -> bool:
        return bool(self.routes) or self.owner


@dataclass(frozen=True, slots=True)
class _Case:
    """Everything one decision looks at."""

    notice: NoticeFacts
    standing: tuple[SubjectFacts, ...]
    routes: tuple[RouteFacts, ...]
    urgency: Urgency
    limit: int
    zone: ZoneInfo
    now: datetime

    @property
    def failing(self) -> bool:
        """Nobody can be reached: there is no route, or none of them works and nothing of this round got through."""
        return not self.routes or (not self.notice.accepted and all(route.failing for route in self.routes))


def decide(
    notice: NoticeFacts,
    subjects: Sequence[SubjectFacts],
    routes: Sequence[RouteFacts],
    *,
    limit: int,
    zone: ZoneInfo,
    now: datetime,
) -> Decision:
    """What to do about a notice.

    *routes* are all that can be used now, in any order; *limit* is the number of immediate messages an hour to one
    person; *zone* is the fleet's.
    """
    standing = tuple(subject for subject in subjects if not subject.ended)
    closing = closing_of(subjects, standing)
    if closing or not standing:
        ids = tuple(subject.id for subject in closing)
        return Decision(Reason.CLOSED, now if standing else None, notice.urgency, notice.step, closing=ids)
    pressing = tuple(subject for subject in standing if subject.told or not subject.clearing)
    if not pressing:
        return Decision(Reason.CLEARING, now + REVIEW, notice.urgency, notice.step)
    standing = pressing
    kinds = {subject.kind for subject in standing}
    usable = tuple(sorted((route for route in routes if route.kinds & kinds), key=lambda route: route.order))
    urgency = max((subject.urgency(now) for subject in standing), key=lambda found: found.rank)
    case = _Case(notice, standing, usable, urgency, limit, zone, now)
    decision = _restart(case) or _seen(case) or _fall_back(case) or _climb(case)
    return _not_later(decision, case)


def closing_of(subjects: Sequence[SubjectFacts], standing: Sequence[SubjectFacts]) -> list[SubjectFacts]:
    """Ended subjects whose end is to be told now.

    The end of a hold is told at once. The end of an alarm waits while something else of the unit stands: as a rule
    the hold it caused ends moments later, and both make one message.
    """
    ended = [s for s in subjects if s.ended and s.told and not s.closure_told]
    return ended if not standing or any(s.depart_at is not None for s in ended) else []


def seen_until(seen_at: datetime, subjects: Sequence[SubjectFacts]) -> datetime:
    """When "seen" lapses: max(seen + 15 min, min(seen + 4 h, departure - 60 min))."""
    departures = [s.depart_at for s in subjects if s.depart_at is not None and not s.ended]
    limits = [seen_at + SEEN_AT_MOST, *(moment - SEEN_BEFORE_DEPARTURE for moment in departures)]
    return max(seen_at + SEEN_AT_LEAST, min(limits))


def muted(subject: SubjectFacts, standing: Sequence[SubjectFacts]) -> bool:
    """A told stop-tier alarm of the unit mutes its lesser alarms; a held trip is never muted."""
    lesser = subject.depart_at is None and not subject.stop
    return lesser and any(other.stop and other.told for other in standing)


def _restart(case: _Case) -> Decision | None:
    """A first message, a new cause, a rise in urgency or a lapsed "seen" begin a new round."""
    notice, now = case.notice, case.now
    if notice.urgency is None:
        return _send(case, Reason.FIRST, 0) if _first_due(case, case.standing) <= now else None
    news = _news(case)
    if news and _first_due(case, news) <= now:
        return _send(case, Reason.NEW_CAUSE, 0)
    if notice.seen_at is None:
        return _send(case, Reason.MORE_URGENT, 0) if case.urgency.rank > notice.urgency.rank else None
    return _send(case, Reason.SEEN_LAPSED, 0) if seen_until(notice.seen_at, case.standing) <= now else None


def _news(case: _Case) -> list[SubjectFacts]:
    """Untold subjects that make it more urgent or touch another trip; others only add a line."""
    rank = case.notice.urgency.rank if case.notice.urgency else -1
    return [
        subject
        for subject in case.standing
        if not subject.told
        and not muted(subject, case.standing)
        and (
            subject.urgency(case.now).rank > rank
            or (subject.trip_id is not None and subject.trip_id not in case.notice.told_trips)
        )
    ]


def _first_due(case: _Case, subjects: Sequence[SubjectFacts]) -> datetime:
    return min(s.opened_at + timedelta(minutes=_FIRST_MIN[s.urgency(case.now)]) for s in subjects)


_FIRST_MIN = {rung.urgency: rung.after_min for rung in LADDER if rung.step == 0}


def _seen(case: _Case) -> Decision | None:
    if case.notice.seen_at is None:
        return None
    return _wait(case, Reason.SEEN, seen_until(case.notice.seen_at, case.standing))


def _fall_back(case: _Case) -> Decision | None:
    """While no channel took a message of this round and those tried fail, the next one is tried at once."""
    notice = case.notice
    if notice.urgency is None or notice.accepted:
        return None
    if any(route.id in notice.tried and not route.failing for route in case.routes):
        return None
    if spare := untried(case.routes, notice.tried):
        return _send(case, Reason.NEXT_STEP, notice.step, only=(spare,))
    if notice.owner_told:
        return None
    return replace(_wait(case, Reason.UNDELIVERABLE, _next_due(case, notice.step, moved=False)), owner=True)


def _climb(case: _Case) -> Decision:
    """The step of the ladder that is due, if any."""
    notice = case.notice
    if notice.urgency is None:
        return _wait(case, Reason.NOTHING, _first_due(case, case.standing))
    assert notice.started_at is not None
    assert notice.stepped_at is not None
    step = newest_due(
        case.urgency, after=notice.step, started_at=notice.started_at, stepped_at=notice.stepped_at, now=case.now
    )
    if step is None:
        quiet = any(not s.told and muted(s, case.standing) for s in case.standing)
        reason = Reason.MUTED_BY_STOP if quiet else Reason.NOTHING
        return _wait(case, reason, _next_due(case, notice.step, moved=False))
    rung = rung_of(case.urgency, step)
    return _send(case, Reason.REPEAT_DUE if rung is not None and rung.every else Reason.NEXT_STEP, step)


def _send(case: _Case, reason: Reason, step: int, *, only: tuple[RouteFacts, ...] | None = None) -> Decision:
    """A message to the audience of a step, unless everyone in it is having quiet hours."""
    rung = rung_of(case.urgency, step)
    chosen = only if only is not None else audience_of(rung, case.routes) if rung else ()
    if case.urgency is Urgency.PLANNED and chosen:
        ends = [route.quiet_until(case.now, zone=case.zone) for route in chosen]
        awake = tuple(route for route, end in zip(chosen, ends, strict=True) if end is None)
        if not awake:
            return _wait(case, Reason.QUIET_HOURS, min(end for end in ends if end is not None))
        chosen = awake
    over = {r.id for r in chosen if case.urgency is not Urgency.PLANNED and r.immediate >= case.limit}
    owner = case.failing and step != case.notice.step
    if chosen and not case.notice.accepted and all(route.failing for route in chosen):
        next_at: datetime | None = case.now  # look for a spare channel at once
    else:
        next_at = _next_due(case, step, moved=True)
    restart = reason in RESTARTS
    if chosen and len(over) == len(chosen):
        reason = Reason.SUMMARY
    return Decision(
        reason if chosen or owner or restart else Reason.NOTHING,
        next_at,
        case.urgency,
        step,
        restart=restart,
        routes=tuple(route.id for route in chosen),
        summarised=frozenset(over),
        owner=owner,
    )


def _next_due(case: _Case, step: int, *, moved: bool) -> datetime:
    """When the step after *step* is due: counted from now when *step* is being taken in this moment."""
    notice, now = case.notice, case.now
    started = now if (moved and step == 0) or notice.started_at is None else notice.started_at
    stepped = now if moved or notice.stepped_at is None else notice.stepped_at
    found = due_at(case.urgency, step + 1, started_at=started, stepped_at=stepped)
    return now + REVIEW if found is None else found


def _wait(case: _Case, reason: Reason, next_at: datetime) -> Decision:
    urgency = None if case.notice.urgency is None else min(case.notice.urgency, case.urgency, key=lambda u: u.rank)
    return Decision(reason, next_at, urgency, case.notice.step)


def _not_later(decision: Decision, case: _Case) -> Decision:
    """Never later than the moment when time alone raises the urgency, or when fresh news falls due."""
    moments = [decision.next_at] if decision.next_at is not None else []
    moments += [moment for s in case.standing if (moment := s.rises_at(case.now)) is not None]
    if not decision.restart and (news := _news(case)) and case.notice.urgency is not None:
        moments.append(max(_first_due(case, news), case.now))
    return replace(decision, next_at=min(moments))
