"""The auditor finds what was missed and what is stuck, mends it, and counts it; the pipeline command shows it."""

from __future__ import annotations

from datetime import datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from prometheus_client import REGISTRY

from alarms.auditor import audit
from alarms.models import Alarm, Delivery, Notice, NoticeSubject, Tier
from alarms.tasks import audit as audit_task
from alarms.tasks import deliver_due as deliver_task
from fleet.celery import app
from fleet.embedded.receivers import Mailbox
from fleet.holds import HoldListener, listeners
from fleet.models import Fleet, Hold
from tests.notice_rows import HOUR, MIN, a_trip, a_unit, cause, end, held, run
from tests.receivers import mailbox, route_to

__all__ = ["mailbox"]


def figure(name: str, **labels: str) -> float:
    return float(REGISTRY.get_sample_value(name, labels or None) or 0)


def silent_hold(fleet: Fleet, now: datetime) -> Hold:
    """A hold whose listener failed: nobody was told."""
    unit = a_unit(fleet)
    trip = a_trip(fleet, now, planned_unit=unit)
    return Hold.objects.create(fleet=fleet, trip=trip, unit=unit, causes=[cause()], opened_at=now, changed_at=now)


def test_a_hold_that_nobody_was_told_of_gets_its_notice(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    silent_hold(tarn, now)
    before = figure("warmgate_auditor_repairs_total", what="missed")
    report = audit(now=now)
    assert (report.missed_holds, report.clean) == (1, False)
    assert figure("warmgate_auditor_repairs_total", what="missed") == before + 1
    run(now)
    assert len(mailbox.mails) == 1
    assert audit(now=now + MIN).missed_holds == 0


def test_an_end_that_was_missed_is_made_up_for(tarn: Fleet, now: datetime) -> None:
    hold = held(tarn, now)
    Hold.objects.across_fleets().filter(pk=hold.pk).update(state=Hold.State.LIFTED, closed_at=now)
    assert audit(now=now).missed_holds == 1
    assert NoticeSubject.objects.across_fleets().get().ended_at == now
    assert audit(now=now).missed_holds == 0


def test_an_alarm_that_nobody_was_told_of_gets_its_notice_too(tarn: Fleet, now: datetime) -> None:
    columns: dict[str, Any] = {"scheme": "book", "component": "c", "meaning": "m", "what_to_do": "w", "mapping": "book"}
    for code, tier in (("a", Tier.STOP), ("b", Tier.ATTEND), ("c", Tier.WATCH)):
        Alarm.objects.create(
            fleet=tarn,
            unit=a_unit(tarn),
            code=code,
            tier=tier,
            opened_at=now,
            raised_at=now,
            last_event_at=now,
            **columns,
        )
    assert audit(now=now).missed_holds == 1
    assert NoticeSubject.objects.across_fleets().get().alarm.code == "a"  # type: ignore[union-attr]


def test_a_broken_listener_is_reported_and_the_rest_goes_on(tarn: Fleet, now: datetime) -> None:
    def broken(at: datetime) -> int:
        raise RuntimeError("no")

    listener = HoldListener(id="a.broken", told=lambda hold, change, at: None, missed=broken)
    silent_hold(tarn, now)
    listeners.add(listener)
    try:
        report = audit(now=now)
    finally:
        del listeners._by_id["a.broken"]
    assert (report.broken_listeners, report.missed_holds) == (1, 1)


def test_success_is_stamped_and_ages_are_measured(tarn: Fleet, now: datetime) -> None:
    held(tarn, now)
    report = audit(now=now + 3 * MIN)
    assert report.old_stages == ("notices",)
    assert figure("warmgate_due_oldest_seconds", stage="notices") == 180
    assert figure("auditor_last_success_timestamp_seconds") == (now + 3 * MIN).timestamp()


def test_undeliverable_notices_are_counted(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    held(tarn, now)
    run(now)
    assert audit(now=now).undeliverable == 1
    assert figure("warmgate_notices_undeliverable") == 1


def test_an_open_notice_without_a_next_look_cannot_be_stored(tarn: Fleet, now: datetime) -> None:
    from django.db import IntegrityError

    held(tarn, now)
    with pytest.raises(IntegrityError):
        Notice.objects.across_fleets().update(next_at=None)


def test_a_notice_that_breaks_backs_off_and_lets_others_pass(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    route_to(tarn, "1@tarn.example", now=now)
    bad = held(tarn, now)
    Hold.objects.across_fleets().filter(pk=bad.pk).update(causes=[{"key": "no check and no message"}])
    held(tarn, now, reference="T-2", number="HB-2")
    run(now)
    assert len(mailbox.mails) == 1
    broken = Notice.objects.across_fleets().get(unit=bad.unit)
    assert (broken.next_at, broken.state) == (now + MIN, "pending")


def test_tasks_have_their_names_queue_and_answers(tarn: Fleet, mailbox: Mailbox) -> None:
    from django.utils import timezone

    assert app.conf.task_routes["alarms.deliver_due"] == {"queue": "deliver"}
    assert {"alarms.deliver_due", "alarms.audit"} <= set(app.tasks)
    route_to(tarn, "1@tarn.example", now=timezone.now())
    silent_hold(tarn, timezone.now())
    assert audit_task() is False
    assert deliver_task() == 1
    assert audit_task() is True


def test_the_pipeline_is_shown_at_a_glance_and_can_be_pushed(tarn: Fleet, now: datetime, mailbox: Mailbox) -> None:
    mailbox.refuse_recipient = "451 later"
    route_to(tarn, "1@tarn.example", now=now)
    at = now - 10 * MIN
    held(tarn, at, leaves_in=2 * HOUR)
    for seconds in (0, 5, 35, 155):
        run(at + timedelta(seconds=seconds))
    out = StringIO()
    call_command("pipeline", stdout=out)
    shown = {" ".join(line.split()[:2]): line.split()[2] for line in out.getvalue().splitlines()[1:10]}
    assert shown["notices open"] == "1"
    assert shown["routes failing"] == "1"
    assert "1@tarn.example" in out.getvalue()
    assert "451 later" in out.getvalue()
    mailbox.refuse_recipient = ""
    waiting = Delivery.objects.across_fleets().filter(state="retry_wait", route__isnull=False)
    waiting.update(next_attempt_at=now + HOUR)
    call_command("pipeline", "--retry", stdout=out)
    assert "1 messages are due now." in out.getvalue()
    run(now)
    assert not Delivery.objects.across_fleets().filter(state="retry_wait").exists()


def test_ended_holds_leave_no_work_behind(tarn: Fleet, now: datetime) -> None:
    hold = held(tarn, now)
    run(now)
    end(hold, now)
    run(now)
    assert Notice.objects.across_fleets().get().next_at is None
    assert audit(now=now + HOUR).old_stages in ((), ("deliveries",))
