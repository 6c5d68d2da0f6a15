"""Leases, order, retries and what a crash leaves behind, on whichever database the suite runs on."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.db import connection

from alarms.channels.base import TransportError
from alarms.deliveries.claims import LEASE, Claim, claim_one, mark_failed, mark_sent
from alarms.deliveries.queueing import queue, recipient_of
from alarms.deliveries.selectors import next_due_at
from alarms.deliveries.sending import attempt, deliver, deliver_due
from alarms.models import Channel, Delivery, NoticeRoute
from alarms.notices.stepping import step_one
from fleet.embedded.receivers import Answer, HookReceiver, Mailbox
from fleet.models import Fleet
from tests.notice_rows import HOUR, MIN, held, run
from tests.receivers import hooks, mailbox, route_to, verified

__all__ = ["hooks", "mailbox"]
SECOND = timedelta(seconds=1)
LATER = TransportError("busy", status="503")


def a_message(route: NoticeRoute, now: datetime, key: str = "a", **more: object) -> Delivery:
    return queue(
        recipient_of(route),
        purpose=Delivery.Purpose.TEST,
        dedupe_key=key,
        document={"fleet": "Tarn", "route": route.pk, "asked_by": "test"},
        now=now,
        **more,  # type: ignore[arg-type]
    )


def claimed(now: datetime) -> Claim:
    claim = claim_one(now=now)
    assert claim is not None
    return claim


def test_a_claim_is_a_lease_of_a_minute(tarn: Fleet, now: datetime) -> None:
    a_message(route_to(tarn, "1@tarn.example", now=now), now)
    claim = claimed(now)
    row = Delivery.objects.across_fleets().get()
    assert (row.state, row.lease_owner, row.lease_until, row.attempts) == ("leased", claim.owner, now + LEASE, 1)
    assert claim_one(now=now) is None
    assert claim_one(now=now + LEASE - SECOND) is None


def test_an_expired_lease_goes_out_again_and_the_late_worker_may_not_mark(tarn: Fleet, now: datetime) -> None:
    a_message(route_to(tarn, "1@tarn.example", now=now), now)
    slow, next_ = claimed(now), claimed(now + LEASE)
    assert next_.delivery.pk == slow.delivery.pk
    assert next_.delivery.uncertain, "the first worker may have sent it"
    assert mark_sent(slow, status="late", now=now + LEASE) is False
    assert mark_failed(slow, LATER, now=now + LEASE) is False
    assert mark_sent(next_, status="ok", now=now + LEASE) is True
    assert Delivery.objects.across_fleets().get().last_status == "ok"


def test_pauses_grow_to_an_hour_and_end_at_not_after(tarn: Fleet, now: datetime) -> None:
    a_message(route_to(tarn, "1@tarn.example", now=now), now)
    at, pauses = now, []
    while (claim := claim_one(now=at)) is not None:
        assert mark_failed(claim, LATER, now=at)
        row = Delivery.objects.across_fleets().get()
        if row.state == "failed":
            break
        pauses.append(row.next_attempt_at - at)
        at = row.next_attempt_at
    assert pauses[:4] == [5 * SECOND, 30 * SECOND, 2 * MIN, 10 * MIN]
    assert set(pauses[4:]) == {HOUR}
    assert now + 23 * HOUR < at <= now + 24 * HOUR


def test_what_is_permanent_is_not_tried_again(tarn: Fleet, now: datetime) -> None:
    a_message(route_to(tarn, "1@tarn.example", now=now), now)
    mark_failed(claimed(now), TransportError("no such user", status="550", permanent=True), now=now)
    assert Delivery.objects.across_fleets().get().state == "failed"
    assert NoticeRoute.objects.across_fleets().get().failing_since == now
    assert claim_one(now=now + HOUR) is None


def a_messages_of_one_lane_keep_their_order_and_lanes_do_not_wait_for_each_other(tarn: Fleet, now: datetime) -> None:
    one, two = route_to(tarn, "1@tarn.example", now=now), route_to(tarn, "2@tarn.example", now=now)
    rows = [a_message(one, now, "a"), a_message(one, now, "b"), a_message(two, now, "c")]
    first, other = claimed(now), claimed(now)
    assert [first.delivery.pk, other.delivery.pk] == [rows[0].pk, rows[2].pk]
    assert claim_one(now=now) is None, "b waits behind a"
    mark_failed(first, LATER, now=now)
    assert claim_one(now=now) is None, "b waits for a's next attempt too"
    assert next_due_at(now=now) == now + 5 * SECOND, "not now: what is blocked would make the loop spin"
    again = claimed(now + 5 * SECOND)
    assert again.delivery.pk == rows[0].pk
    mark_sent(again, status="ok", now=now)
    assert claimed(now + 5 * SECOND).delivery.pk == rows[1].pk


def test_what_is_put_off_to_later_stands_before_nobody(tarn: Fleet, now: datetime) -> None:
    route = route_to(tarn, "1@tarn.example", now=now)
    a_message(route, now, "night", not_before=now + 8 * HOUR)
    urgent = a_message(route, now, "now")
    assert claimed(now).delivery.pk == urgent.pk


def test_the_same_key_is_the_same_message(tarn: Fleet, now: datetime) -> None:
    route = route_to(tarn, "1@tarn.example", now=now)
    assert a_message(route, now, "a").pk == a_message(route, now + MIN, "a").pk


def test_a_worker_killed_between_sending_and_marking_sends_again_under_the_same_id(
    tarn: Fleet, now: datetime, mailbox: Mailbox, hooks: HookReceiver
) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    hook = route_to(tarn, hooks.url(), now=now, channel=Channel.WEBHOOK)
    hook.position = 1
    held(tarn, now)
    while step_one(now=now):
        pass
    a_message(hook, now, "t")
    for _ in range(2):
        attempt(claimed(now), now=now)  # sent, and then the worker is gone: nothing is marked
    assert run(now + LEASE) == 2
    first, again = mailbox.mails
    assert first.message["Message-ID"] == again.message["Message-ID"]
    assert first.text() == again.text()
    one, other = hooks.requests
    assert one.headers["webhook-id"] == other.headers["webhook-id"]
    assert one.body == other.body
    assert verified(one, hook.secret) == verified(other, hook.secret)


def test_a_message_is_not_sent_once_what_it_is_about_has_ended(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    from tests.notice_rows import end

    mailbox.refuse_recipient = "451 later"
    route_to(tarn, "1@tarn.example", now=now)
    hold = held(tarn, now)
    run(now)
    mailbox.refuse_recipient = ""
    end(hold, now + SECOND)
    run(now + MIN)
    assert mailbox.mails == []
    row = Delivery.objects.across_fleets().get()
    assert (row.state, row.last_error) == ("cancelled", "the notice has closed")


def test_an_expired_route_or_a_message_too_late_is_put_aside(tarn: Fleet, now: datetime) -> None:
    route = route_to(tarn, "1@tarn.example", now=now)
    late, unused = a_message(route, now, "late"), a_message(route, now + 24 * HOUR, "unused")
    assert claimed(now + 24 * HOUR).delivery.pk == unused.pk
    late.refresh_from_db()
    assert (late.state, late.last_error) == ("failed", "too late to be of use")
    NoticeRoute.objects.across_fleets().update(state=NoticeRoute.State.DISABLED)
    a_message(route, now + 24 * HOUR, "third")
    assert claim_one(now=now + 26 * HOUR) is None


def test_a_hung_receiver_costs_one_attempt_and_the_budget_ends_the_round(
    tarn: Fleet, now: datetime, hooks: HookReceiver
) -> None:
    hooks.answer = Answer(500)
    route = route_to(tarn, hooks.url(), now=now, channel=Channel.WEBHOOK)
    a_message(route, now)
    done = deliver_due(clock=lambda: now, budget_s=0)
    assert (done.finished, done.sent) == (False, 0)
    assert deliver_due(clock=lambda: now).failed == 1
    assert deliver_due(clock=lambda: now).finished


def race(count: int, work: Callable[[int], None]) -> list[Exception]:
    """Runs *work* in threads that start together, each with its own connection; returns what was raised."""
    barrier, raised = threading.Barrier(count), []

    def body(index: int) -> None:
        try:
            barrier.wait(10)
            work(index)
        except Exception as error:  # noqa: BLE001 - shown by the test
            raised.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=body, args=(index,)) for index in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return raised


@pytest.mark.django_db(transaction=True)
def test_two_workers_never_hold_the_same_message(tarn: Fleet, now: datetime) -> None:
    for index in range(20):
        route = route_to(tarn, f"{index}@tarn.example", now=now)
        a_message(route, now, f"a{index}")
        a_message(route, now, f"b{index}")
    got: list[tuple[int, int, str]] = []

    def work(worker: int) -> None:
        while (claim := claim_one(now=now)) is not None:
            got.append((claim.delivery.pk, worker, claim.delivery.lane))
            mark_sent(claim, status="ok", now=now)

    assert race(2, work) == []
    assert len(got) == len({pk for pk, _, _ in got}) == 40
    for lane in {lane for _, _, lane in got}:
        mine = [pk for pk, _, of in got if of == lane]
        assert mine == sorted(mine), "a lane keeps its order across workers"


@pytest.mark.django_db(transaction=True)
def test_two_workers_take_each_step_once(tarn: Fleet, now: datetime) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    for index in range(8):
        held(tarn, now, reference=f"T-{index}", number=f"HB-{index}")

    def work(worker: int) -> None:
        while step_one(now=now):
            pass

    assert race(2, work) == []
    work(0)
    rows = Delivery.objects.across_fleets()
    assert rows.count() == 8
    assert len(set(rows.values_list("message_id", flat=True))) == 8


@pytest.mark.django_db(transaction=True)
def test_steps_marks_and_claims_at_once_do_not_lock_each_other_up(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    for position in (1, 2):
        route_to(tarn, f"{position}@tarn.example", now=now, position=position)
    for index in range(6):
        held(tarn, now, reference=f"T-{index}", number=f"HB-{index}")

    for minute in range(0, 30, 5):
        at = now + minute * MIN

        def work(worker: int, at: datetime = at) -> None:
            deliver_due(clock=lambda: at)

        assert race(3, work) == []
    ids = [mail.message["Message-ID"] for mail in mailbox.mails]
    assert len(ids) == len(set(ids))
    assert set(Delivery.objects.across_fleets().values_list("state", flat=True)) <= {"sent", "cancelled"}


def test_an_attempt_that_breaks_is_tried_again_like_any_other(tarn: Fleet, now: datetime) -> None:
    row = a_message(route_to(tarn, "1@tarn.example", now=now), now)
    Delivery.objects.across_fleets().filter(pk=row.pk).update(document={})
    assert deliver(claimed(now), clock=lambda: now) is False
    row.refresh_from_db()
    assert (row.state, row.last_status) == ("retry_wait", "error")
