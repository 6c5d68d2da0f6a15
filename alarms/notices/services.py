"""What people do with notices: they say that they have seen one."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from alarms.models import Alarm, Delivery, Notice, NoticeSubject
from fleet.bell import ring
from fleet.errors import Conflict, NotFound, StaleRevision
from fleet.models import Member
from fleet.records.audit import record_act
from fleet.retry import on_conflict


def mark_seen(pk: int, *, fleet_id: int, by: Member, revision: int | None, now: datetime) -> Notice:
    """Stops the repeats for a while. Releases nothing. *Raises* NotFound, StaleRevision, Conflict when it is closed."""

    def work() -> Notice:
        with transaction.atomic():
            rows = Notice.objects.for_fleet(fleet_id).select_for_update(of=("self",)).select_related("unit")
            notice: Notice | None = rows.filter(pk=pk).first()
            if notice is None:
                raise NotFound("There is no such notice.")
            if revision is not None and notice.revision != revision:
                raise StaleRevision(current=f'"{notice.revision}"')
            if notice.state == Notice.State.CLOSED:
                raise Conflict("The notice has closed; there is nothing left to see.", state=str(notice.state))
            _see(notice, by, now)
            return notice

    return on_conflict(work)


def _see(notice: Notice, by: Member, now: datetime) -> None:
    notice.state, notice.seen_at, notice.seen_by = Notice.State.SEEN, now, by
    notice.next_at = now
    notice.revision += 1
    notice.save(update_fields=["state", "seen_at", "seen_by", "next_at", "revision"])
    record_act(by, act="notice.seen", subject=notice, at=now, content={"unit_id": notice.unit_id})
    ring("alarms.deliver_due")


def seen_with_its_alarms(alarm: Alarm, *, now: datetime) -> None:
    """Whoever has seen every alarm that a notice is about has seen the notice. A held trip is seen on its own."""
    mine = NoticeSubject.objects.for_fleet(alarm.fleet_id).filter(alarm=alarm, ended_at__isnull=True)
    for notice_id in mine.values_list("notice_id", flat=True):
        notice = Notice.objects.for_fleet(alarm.fleet_id).select_for_update().get(pk=notice_id)
        standing = NoticeSubject.objects.for_fleet(alarm.fleet_id).filter(notice=notice, ended_at__isnull=True)
        unseen = standing.exclude(alarm=alarm).exclude(alarm__seen_at__isnull=False).exists()
        if notice.state != Notice.State.CLOSED and not unseen and alarm.seen_by is not None:
            _see(notice, alarm.seen_by, now)


def retry_all(*, now: datetime) -> int:
    """An operator's push: everything that waits for a later attempt is tried now. Returns how many messages."""
    waiting = Delivery.objects.across_fleets().filter(state=Delivery.State.RETRY_WAIT, next_attempt_at__gt=now)
    pushed = waiting.update(next_attempt_at=now)
    gone = Delivery.objects.across_fleets().filter(
        state=Delivery.State.FAILED, purpose=Delivery.Purpose.TELL, not_after__gt=now, summary__isnull=True
    )
    pushed += gone.exclude(notice__state=Notice.State.CLOSED).update(
        state=Delivery.State.RETRY_WAIT, next_attempt_at=now
    )
    ring("alarms.deliver_due")
    return pushed
