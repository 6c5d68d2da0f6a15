"""What "seen" stops, what it does not, and how long it holds."""

from __future__ import annotations

from datetime import datetime, timedelta

from pytest_django import Settings

from alarms.models import Channel, Delivery, Notice
from alarms.notices.services import mark_seen
from alarms.services.acts import mark_seen as mark_alarm_seen
from fleet.embedded.receivers import Answer, HookReceiver, Mailbox
from fleet.models import Fleet
from tests.notice_rows import HOUR, MIN, an_alarm, end, held, run
from tests.receivers import hooks, mailbox, member_of, route_to, verified

__all__ = ["hooks", "mailbox"]


def notice() -> Notice:
    found: Notice = Notice.objects.across_fleets().get()
    return found


def see(fleet: Fleet, at: datetime) -> None:
    mark_seen(notice().pk, fleet_id=fleet.pk, by=member_of(fleet), revision=None, now=at)


def test_seen_lapses_an_hour_before_departure_and_the_table_begins_again(
    tarn: Fleet, now: datetime, mailbox: Mailbox
) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    held(tarn, now, leaves_in=3 * HOUR)
    run(now + MIN)
    see(tarn, now + 2 * MIN)
    for minutes in (20, 60, 90, 119):
        run(now + minutes * MIN)
    assert (len(mailbox.mails), notice().reason, notice().next_at) == (1, "seen", now + 2 * HOUR)
    run(now + 2 * HOUR)
    assert (len(mailbox.mails), notice().reason, notice().urgency, notice().state) == (2, "seen_lapsed", "now", "sent")
    assert "a while ago" in mailbox.mails[1].text()


def test_a_repeat_that_still_waits_is_not_sent_to_whoever_has_seen_it(
    tarn: Fleet, now: datetime, mailbox: Mailbox
) -> None:
    mailbox.refuse_recipient = "451 later"
    route_to(tarn, "1@tarn.example", now=now)
    held(tarn, now)
    run(now)
    mailbox.refuse_recipient = ""
    see(tarn, now + timedelta(seconds=2))
    run(now + MIN)
    assert mailbox.mails == []
    assert Delivery.objects.across_fleets().get().last_error == "somebody has seen the notice"


def test_a_machine_still_hears_that_a_hold_opened_though_a_person_has_seen_it(
    tarn: Fleet, now: datetime, hooks: HookReceiver, settings: Settings
) -> None:
    hooks.answer = Answer(503)
    hook = route_to(tarn, hooks.url(), now=now, channel=Channel.WEBHOOK)
    hold = held(tarn, now)
    run(now)
    see(tarn, now + timedelta(seconds=2))
    hooks.answer = Answer(200)
    run(now + MIN)
    end(hold, now + 2 * MIN)
    run(now + 2 * MIN)
    types = [verified(request, hook.secret)["type"] for request in hooks.requests]
    assert types == ["hold.opened.v1", "hold.opened.v1", "hold.ended.v1"]
    assert hooks.requests[0].headers["webhook-id"] == hooks.requests[1].headers["webhook-id"]


def test_whoever_has_seen_every_alarm_of_a_notice_has_seen_the_notice(tarn: Fleet, now: datetime) -> None:
    first = an_alarm(tarn, now)
    second = an_alarm(tarn, now, code="belt-torn-1")
    for alarm, state in ((first, "pending"), (second, "seen")):
        mark_alarm_seen(alarm.pk, fleet=tarn, by=member_of(tarn), revision=None, now=now)
        assert notice().state == state
    held(tarn, now + MIN)
    run(now + 2 * MIN)
    assert notice().reason != "seen", "a held trip is seen on its own"
