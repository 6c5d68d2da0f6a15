"""Closed notices and their messages go when their time is over; nothing else does."""

from __future__ import annotations

from datetime import datetime, timedelta

from alarms.deliveries.purging import purge_notices
from alarms.models import Delivery, Notice, NoticeSubject
from fleet.embedded.receivers import Mailbox
from fleet.models import AuditEntry, Fleet, Hold
from tests.notice_rows import MIN, end, held, run
from tests.receivers import mailbox, route_to

__all__ = ["mailbox"]
YEARS = timedelta(days=3 * 366 + 1)


def told_and_closed(fleet: Fleet, now: datetime) -> Notice:
    """A hold that was told and lifted: its notice is closed, and two messages have gone out."""
    route_to(fleet, "mara@tarn.example", now=now)
    hold = held(fleet, now)
    run(now)
    end(hold, now + 5 * MIN)
    run(now + 5 * MIN)
    return Notice.objects.for_fleet(fleet).get()


def purge(now: datetime) -> int:
    return purge_notices(now=now, keep_months=36)


def test_a_notice_goes_with_its_messages_and_leaves_an_entry(tarn: Fleet, mailbox: Mailbox, now: datetime) -> None:
    notice = told_and_closed(tarn, now)
    assert (notice.state, Delivery.objects.for_fleet(tarn).count()) == ("closed", 2)
    assert purge(now + YEARS) == 1
    assert not Notice.objects.for_fleet(tarn).exists()
    assert not Delivery.objects.for_fleet(tarn).exists()
    assert not NoticeSubject.objects.for_fleet(tarn).exists()
    assert Hold.objects.for_fleet(tarn).count() == 1, "the hold is a record of its own"
    entry = AuditEntry.objects.for_fleet(tarn).get(act="notice.purged")
    assert (entry.content["unit"], entry.content["messages"]) == ("HB-104", 2)
    assert purge(now + YEARS) == 0


def test_nothing_goes_before_its_time(tarn: Fleet, mailbox: Mailbox, now: datetime) -> None:
    told_and_closed(tarn, now)
    assert purge(now + timedelta(days=3 * 365 - 2)) == 0
    assert Notice.objects.for_fleet(tarn).exists()


def test_an_open_notice_stays_however_old(tarn: Fleet, mailbox: Mailbox, now: datetime) -> None:
    route_to(tarn, "mara@tarn.example", now=now)
    held(tarn, now)
    run(now)
    assert purge(now + YEARS) == 0


def test_a_message_still_on_its_way_keeps_its_notice(tarn: Fleet, mailbox: Mailbox, now: datetime) -> None:
    told_and_closed(tarn, now)
    Delivery.objects.for_fleet(tarn).update(state=Delivery.State.QUEUED, sent_at=None)
    assert purge(now + YEARS) == 0
    assert Delivery.objects.for_fleet(tarn).count() == 2


def test_messages_of_no_notice_go_by_their_own_age(tarn: Fleet, mailbox: Mailbox, now: datetime) -> None:
    told_and_closed(tarn, now)
    Delivery.objects.for_fleet(tarn).update(notice=None)
    assert purge(now + timedelta(days=300)) == 0
    assert purge(now + YEARS) == 3
    assert not Delivery.objects.for_fleet(tarn).exists()
