"""Builders for cases of the notice policy: three people, four routes, one moment."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from alarms.audience import RouteFacts
from alarms.ladder import Urgency
from alarms.notice_facts import NoticeFacts, SubjectFacts
from alarms.policy import Decision, decide

NOW = datetime(2027, 1, 12, 10, 0, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Helsinki")
HOUR, MIN = timedelta(hours=1), timedelta(minutes=1)
ANNA, BO, CARL = 1, 2, 3
ROUTES = (
    RouteFacts(11, ANNA, 1),
    RouteFacts(12, ANNA, 1),
    RouteFacts(21, BO, 2),
    RouteFacts(31, CARL, 3),
)


def hold(
    *, leaves_in: timedelta, opened: timedelta = timedelta(0), trip: int = 7, id_: int = 1, **more: bool
) -> SubjectFacts:
    return SubjectFacts(id_, "hold", NOW - opened, trip_id=trip, depart_at=NOW + leaves_in, **more)


def alarm(*, opened: timedelta = timedelta(0), id_: int = 2, **more: bool) -> SubjectFacts:
    return SubjectFacts(id_, "alarm", NOW - opened, **more)


def sent(
    urgency: Urgency, *, step: int, started: timedelta, stepped: timedelta | None = None, **more: object
) -> NoticeFacts:
    facts = NoticeFacts(
        urgency, step, NOW - started, NOW - (started if stepped is None else stepped), told_trips=frozenset({7}),
        tried=frozenset({11}), accepted=True,
    )  # fmt: skip
    return replace(facts, **more)  # type: ignore[arg-type]


def ask(
    notice: NoticeFacts,
    *subjects: SubjectFacts,
    routes: tuple[RouteFacts, ...] = ROUTES,
    limit: int = 10,
    at: datetime = NOW,
) -> Decision:
    return decide(notice, subjects, routes, limit=limit, zone=ZONE, now=at)


SOON_TOLD = hold(leaves_in=6 * HOUR, told=True, opened=HOUR)
NOW_TOLD = hold(leaves_in=HOUR, told=True, opened=HOUR)
PLANNED_TOLD = hold(leaves_in=20 * HOUR, told=True, opened=HOUR)
U = Urgency
