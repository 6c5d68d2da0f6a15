"""The decision whether to send: seen, urgency, quiet hours, summaries, failing channels, and the ladder itself."""

from __future__ import annotations

from dataclasses import replace
from datetime import time
from itertools import pairwise

from alarms.audience import RouteFacts, audience_of, untried
from alarms.ladder import LADDER, Pick, Urgency, due_at, newest_due, rung_of
from alarms.notice_facts import NoticeFacts
from alarms.policy import Reason, seen_until
from alarms.quiet_hours import QuietHours
from tests.unit.notice_cases import ANNA, BO, CARL, HOUR, MIN, NOW, NOW_TOLD, ROUTES, U, ask, hold, sent


def test_seen_lapses_an_hour_before_departure_but_never_within_a_quarter() -> None:
    far, near, nearest = hold(leaves_in=20 * HOUR), hold(leaves_in=3 * HOUR), hold(leaves_in=30 * MIN)
    assert seen_until(NOW, [far]) == NOW + 4 * HOUR
    assert seen_until(NOW, [near]) == NOW + 2 * HOUR
    assert seen_until(NOW, [nearest]) == NOW + 15 * MIN
    assert seen_until(NOW, [far, near]) == NOW + 2 * HOUR


def test_urgency_never_stays_behind_the_clock() -> None:
    subject = hold(leaves_in=13 * HOUR)
    moments = [subject.urgency(NOW + hours * HOUR) for hours in (0, 1, 10, 11, 14)]
    assert moments == [U.PLANNED, U.SOON, U.SOON, U.NOW, U.NOW]
    assert subject.rises_at(NOW) == NOW + HOUR
    assert subject.rises_at(NOW + 2 * HOUR) == NOW + 11 * HOUR
    assert subject.rises_at(NOW + 12 * HOUR) is None


def test_people_of_one_order_number_are_told_together() -> None:
    routes = (RouteFacts(1, ANNA, 1), RouteFacts(2, BO, 1), RouteFacts(3, CARL, 2))
    assert ask(NoticeFacts(), hold(leaves_in=HOUR), routes=routes).routes == (1, 2)


def test_without_a_next_channel_or_person_the_first_is_asked_again() -> None:
    alone = (RouteFacts(11, ANNA, 1),)
    decision = ask(sent(U.NOW, step=0, started=5 * MIN), NOW_TOLD, routes=alone)
    assert (decision.reason, decision.routes, decision.step, decision.owner) == (Reason.NEXT_STEP, (11,), 1, False)
    assert ask(sent(U.NOW, step=1, started=10 * MIN), NOW_TOLD, routes=alone).routes == (11,)
    everyone = ask(sent(U.NOW, step=2, started=20 * MIN), NOW_TOLD, routes=alone)
    assert everyone.routes == (11,)


def test_kinds_choose_the_routes() -> None:
    routes = (RouteFacts(1, ANNA, 1, kinds=frozenset({"alarm"})), RouteFacts(2, BO, 2, kinds=frozenset({"hold"})))
    assert ask(NoticeFacts(), hold(leaves_in=HOUR), routes=routes).routes == (2,)


def test_quiet_hours_defer_planned_only() -> None:
    night = QuietHours(time(11, 0), time(13, 0))  # 09:00 to 11:00 UTC in January
    quiet = tuple(replace(route, quiet=night) for route in ROUTES)
    planned = ask(NoticeFacts(), hold(leaves_in=20 * HOUR, opened=HOUR), routes=quiet)
    assert (planned.reason, planned.routes, planned.next_at) == (Reason.QUIET_HOURS, (), NOW + HOUR)
    assert ask(NoticeFacts(), hold(leaves_in=6 * HOUR, opened=HOUR), routes=quiet).reason is Reason.FIRST
    after = ask(NoticeFacts(), hold(leaves_in=20 * HOUR, opened=HOUR), routes=quiet, at=NOW + HOUR)
    assert after.reason is Reason.FIRST


def test_over_the_hourly_limit_a_message_becomes_a_line_of_a_summary() -> None:
    busy = (replace(ROUTES[0], immediate=10), *ROUTES[1:])
    decision = ask(sent(U.NOW, step=3, started=HOUR, stepped=15 * MIN), NOW_TOLD, routes=busy[:1])
    assert (decision.reason, decision.summarised) == (Reason.SUMMARY, {11})
    mixed = ask(sent(U.NOW, step=3, started=HOUR, stepped=15 * MIN), NOW_TOLD, routes=busy)
    assert (mixed.reason, mixed.summarised, len(mixed.routes)) == (Reason.REPEAT_DUE, {11}, 4)
    first = ask(NoticeFacts(), hold(leaves_in=HOUR), routes=busy)
    assert (first.reason, first.restart) == (Reason.SUMMARY, True)
    soon = ask(NoticeFacts(), hold(leaves_in=6 * HOUR, opened=MIN), routes=busy)
    assert (soon.urgency, soon.reason, soon.summarised) == (U.SOON, Reason.SUMMARY, {11})
    planned = ask(NoticeFacts(), hold(leaves_in=20 * HOUR, opened=5 * MIN), routes=busy)
    assert (planned.urgency, planned.summarised) == (U.PLANNED, frozenset())
    below = ask(NoticeFacts(), hold(leaves_in=HOUR), routes=(replace(ROUTES[0], immediate=9),))
    assert below.summarised == frozenset()


def test_a_failing_channel_hands_over_to_the_next_at_once_and_at_last_to_the_owner() -> None:
    routes = tuple(replace(route, failing=route.id == 11) for route in ROUTES)
    notice = sent(U.NOW, step=0, started=MIN, accepted=False)
    spare = ask(notice, NOW_TOLD, routes=routes)
    assert (spare.reason, spare.routes, spare.step) == (Reason.NEXT_STEP, (12,), 0)
    dead = tuple(replace(route, failing=True) for route in ROUTES)
    tried = replace(notice, tried=frozenset({11, 12, 21, 31}))
    owner = ask(tried, NOW_TOLD, routes=dead)
    assert (owner.reason, owner.owner, owner.next_at) == (Reason.UNDELIVERABLE, True, NOW + 4 * MIN)
    assert ask(replace(tried, owner_told=True), NOW_TOLD, routes=dead).reason is Reason.NOTHING


def test_without_any_route_the_owner_is_told_first() -> None:
    decision = ask(NoticeFacts(), hold(leaves_in=HOUR), routes=())
    assert (decision.reason, decision.owner, decision.routes) == (Reason.FIRST, True, ())


def test_the_table_has_no_gap_and_no_overlap() -> None:
    for urgency in Urgency:
        rows = [rung for rung in LADDER if rung.urgency is urgency]
        assert rows[0].step == 0
        for row, after in pairwise(rows):
            assert row.last is not None
            assert after.step == row.last + 1
    assert rung_of(U.PLANNED, 2) is None
    assert due_at(U.PLANNED, 2, started_at=NOW, stepped_at=NOW) is None
    assert newest_due(U.NOW, after=-1, started_at=NOW, stepped_at=NOW, now=NOW) == 0


def test_an_audience_is_ordered_by_person_then_channel() -> None:
    everyone = rung_of(U.NOW, 3)
    assert everyone is not None
    assert [route.id for route in audience_of(everyone, tuple(reversed(ROUTES)))] == [11, 12, 21, 31]
    assert everyone.person is Pick.ALL
    assert untried(ROUTES, {11, 12}) == ROUTES[2]
    assert untried(ROUTES, {11, 12, 21, 31}) is None


def test_an_untold_hold_whose_cause_is_gone_waits_to_lift_and_tells_nobody() -> None:
    """Failing sequence: filled up within the 30 seconds in which causes are gathered, and the mail says "Blocked"."""
    mended = hold(leaves_in=6 * HOUR, opened=MIN, clearing=True)
    assert ask(NoticeFacts(), mended).reason is Reason.CLEARING
    assert not ask(NoticeFacts(), mended).sends
    assert ask(NoticeFacts(), replace(mended, clearing=False)).reason is Reason.FIRST
    other = hold(leaves_in=HOUR, opened=MIN, trip=8, id_=2)
    assert ask(NoticeFacts(), mended, other).urgency is U.NOW
    told = hold(leaves_in=HOUR, opened=10 * MIN, told=True, clearing=True)
    assert ask(sent(U.NOW, step=0, started=5 * MIN), told).reason is Reason.NEXT_STEP
