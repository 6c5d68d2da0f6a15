"""The decision whether to send, as one table of cases: each with its reason, recipients and next look.

The expected minutes are the house rule of docs/notices.md (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import timedelta

import pytest

from alarms.notice_facts import NoticeFacts, SubjectFacts
from alarms.policy import Reason
from tests.unit.notice_cases import HOUR, MIN, NOW, NOW_TOLD, PLANNED_TOLD, SOON_TOLD, U, alarm, ask, hold, sent


@dataclass(frozen=True)
class Case:
    name: str
    notice: NoticeFacts
    subjects: tuple[SubjectFacts, ...]
    reason: Reason
    routes: tuple[int, ...] = ()
    next_in: timedelta | None = field(default=None)


CASES = (
    Case("a near departure is told at once", NoticeFacts(), (hold(leaves_in=HOUR),), Reason.FIRST, (11,), 5 * MIN),
    Case("an overdue departure too", NoticeFacts(), (hold(leaves_in=-HOUR),), Reason.FIRST, (11,), 5 * MIN),
    Case("two hours ahead is near", NoticeFacts(), (hold(leaves_in=2 * HOUR),), Reason.FIRST, (11,), 5 * MIN),
    Case("heat lost under way", NoticeFacts(), (alarm(under_way=True, heat_lost=True),), Reason.FIRST, (11,), 5 * MIN),
    Case("stop under way", NoticeFacts(), (alarm(under_way=True, stop=True),), Reason.FIRST, (11,), 5 * MIN),
    Case("soon waits half a minute", NoticeFacts(), (hold(leaves_in=6 * HOUR),), Reason.NOTHING, (), 0.5 * MIN),
    Case(
        "and is told then", NoticeFacts(), (hold(leaves_in=6 * HOUR, opened=0.5 * MIN),), Reason.FIRST, (11,), 15 * MIN
    ),
    Case("planned waits two minutes", NoticeFacts(), (hold(leaves_in=20 * HOUR),), Reason.NOTHING, (), 2 * MIN),
    Case("a parked unit's stop alarm is planned", NoticeFacts(), (alarm(stop=True),), Reason.NOTHING, (), 2 * MIN),
    Case(
        "planned looks again when it gets soon",
        NoticeFacts(),
        (hold(leaves_in=13 * HOUR, opened=2 * MIN),),
        Reason.FIRST,
        (11,),
        HOUR,
    ),
    Case(
        "next channel after five", sent(U.NOW, step=0, started=5 * MIN), (NOW_TOLD,), Reason.NEXT_STEP, (12,), 5 * MIN
    ),
    Case("not before", sent(U.NOW, step=0, started=4 * MIN), (NOW_TOLD,), Reason.NOTHING, (), MIN),
    Case(
        "next person after ten", sent(U.NOW, step=1, started=10 * MIN), (NOW_TOLD,), Reason.NEXT_STEP, (21,), 10 * MIN
    ),
    Case(
        "everyone after twenty",
        sent(U.NOW, step=2, started=20 * MIN),
        (NOW_TOLD,),
        Reason.NEXT_STEP,
        (11, 12, 21, 31),
        15 * MIN,
    ),
    Case(
        "then every fifteen",
        sent(U.NOW, step=3, started=35 * MIN, stepped=15 * MIN),
        (NOW_TOLD,),
        Reason.REPEAT_DUE,
        (11, 12, 21, 31),
        15 * MIN,
    ),
    Case(
        "eight times",
        sent(U.NOW, step=11, started=2 * HOUR, stepped=15 * MIN),
        (NOW_TOLD,),
        Reason.NOTHING,
        (),
        45 * MIN,
    ),
    Case(
        "then hourly",
        sent(U.NOW, step=11, started=2 * HOUR, stepped=60 * MIN),
        (NOW_TOLD,),
        Reason.REPEAT_DUE,
        (11, 12, 21, 31),
        60 * MIN,
    ),
    Case(
        "a sleep is not caught up",
        sent(U.NOW, step=0, started=30 * MIN),
        (NOW_TOLD,),
        Reason.NEXT_STEP,
        (11, 12, 21, 31),
        15 * MIN,
    ),
    Case("soon: next channel", sent(U.SOON, step=0, started=15 * MIN), (SOON_TOLD,), Reason.NEXT_STEP, (12,), 30 * MIN),
    Case("soon: next person", sent(U.SOON, step=1, started=45 * MIN), (SOON_TOLD,), Reason.NEXT_STEP, (21,), 2 * HOUR),
    Case(
        "soon: every two hours",
        sent(U.SOON, step=3, started=5 * HOUR, stepped=2 * HOUR),
        (SOON_TOLD,),
        Reason.REPEAT_DUE,
        (11, 12, 21, 31),
        2 * HOUR,
    ),
    Case(
        "soon becomes now by itself",
        sent(U.SOON, step=1, started=HOUR),
        (NOW_TOLD,),
        Reason.MORE_URGENT,
        (11,),
        5 * MIN,
    ),
    Case(
        "planned: once more",
        sent(U.PLANNED, step=0, started=4 * HOUR),
        (PLANNED_TOLD,),
        Reason.NEXT_STEP,
        (11, 12),
        8 * HOUR,
    ),
    Case(
        "planned: never again",
        sent(U.PLANNED, step=1, started=9 * HOUR),
        (alarm(told=True, stop=True),),
        Reason.NOTHING,
        (),
        24 * HOUR,
    ),
    Case(
        "another trip",
        sent(U.SOON, step=0, started=MIN),
        (SOON_TOLD, hold(leaves_in=7 * HOUR, opened=MIN, trip=8, id_=3)),
        Reason.NEW_CAUSE,
        (11,),
        15 * MIN,
    ),
    Case(
        "another trip gathers first",
        sent(U.SOON, step=0, started=MIN),
        (SOON_TOLD, hold(leaves_in=7 * HOUR, trip=8, id_=3)),
        Reason.NOTHING,
        (),
        0.5 * MIN,
    ),
    Case(
        "a cause of the same trip only adds a line",
        sent(U.SOON, step=0, started=MIN),
        (SOON_TOLD, alarm(stop=True, opened=HOUR)),
        Reason.NOTHING,
        (),
        14 * MIN,
    ),
    Case(
        "a more urgent cause",
        sent(U.SOON, step=0, started=MIN),
        (SOON_TOLD, alarm(under_way=True, stop=True)),
        Reason.NEW_CAUSE,
        (11,),
        5 * MIN,
    ),
    Case(
        "stop mutes lesser alarms",
        sent(U.PLANNED, step=0, started=MIN),
        (alarm(told=True, stop=True), alarm(under_way=True, id_=4, opened=HOUR)),
        Reason.MORE_URGENT,
        (11,),
        15 * MIN,
    ),
    Case(
        "stop under way mutes lesser alarms",
        sent(U.NOW, step=0, started=MIN),
        (alarm(told=True, stop=True, under_way=True), alarm(under_way=True, id_=4, opened=HOUR)),
        Reason.MUTED_BY_STOP,
        (),
        4 * MIN,
    ),
    Case(
        "seen stops repeats",
        sent(U.SOON, step=0, started=HOUR, seen_at=NOW - HOUR),
        (SOON_TOLD,),
        Reason.SEEN,
        (),
        3 * HOUR,
    ),
    Case(
        "and rises in urgency",
        sent(U.SOON, step=0, started=HOUR, seen_at=NOW - 5 * MIN),
        (NOW_TOLD,),
        Reason.SEEN,
        (),
        10 * MIN,
    ),
    Case(
        "but not another trip",
        sent(U.SOON, step=0, started=HOUR, seen_at=NOW - MIN),
        (SOON_TOLD, hold(leaves_in=7 * HOUR, opened=MIN, trip=8, id_=3)),
        Reason.NEW_CAUSE,
        (11,),
        15 * MIN,
    ),
    Case(
        "seen lapses",
        sent(U.SOON, step=2, started=9 * HOUR, seen_at=NOW - 4 * HOUR),
        (SOON_TOLD,),
        Reason.SEEN_LAPSED,
        (11,),
        15 * MIN,
    ),
    Case("a lifted hold closes", sent(U.SOON, step=0, started=MIN), (replace(SOON_TOLD, ended=True),), Reason.CLOSED),
    Case(
        "closing is told once",
        sent(U.SOON, step=0, started=MIN),
        (replace(SOON_TOLD, ended=True, closure_told=True),),
        Reason.CLOSED,
    ),
    Case(
        "one of two holds ends at once",
        sent(U.SOON, step=0, started=MIN),
        (replace(SOON_TOLD, ended=True), hold(leaves_in=7 * HOUR, trip=8, id_=3, told=True)),
        Reason.CLOSED,
        (),
        0 * MIN,
    ),
    Case(
        "an alarm's end waits for its hold",
        sent(U.SOON, step=0, started=MIN),
        (SOON_TOLD, alarm(stop=True, told=True, ended=True)),
        Reason.NOTHING,
        (),
        14 * MIN,
    ),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_every_case_has_its_reason_recipients_and_next_look(case: Case) -> None:
    decision = ask(case.notice, *case.subjects)
    assert (decision.reason, decision.routes) == (case.reason, case.routes)
    if case.next_in is not None:
        assert decision.next_at == NOW + case.next_in


def test_every_decision_about_an_open_notice_has_a_future_or_present_look() -> None:
    for case in CASES:
        decision = ask(case.notice, *case.subjects)
        if any(not subject.ended for subject in case.subjects):
            assert decision.next_at is not None
            assert decision.next_at >= NOW
