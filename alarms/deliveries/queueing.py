"""Puts messages into the queue. Each row is made with its text fixed, in the transaction that decided to send it."""

from __future__ import annotations

import uuid
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db.models import Q

from alarms.ladder import Urgency
from alarms.models import UNFINISHED, WAITING, Channel, Delivery, Notice, NoticeRoute
from alarms.policy import Reason
from fleet.models import Fleet

KEPT_MAIL: dict[str, timedelta] = {
    Urgency.NOW: timedelta(hours=6),
    Urgency.SOON: timedelta(hours=24),
    Urgency.PLANNED: timedelta(hours=48),
}
"""For so long an undelivered mail is worth trying, by urgency; later messages say it anew."""
KEPT = timedelta(hours=24)
SUMMARY_EVERY = timedelta(minutes=15)
SUMMARY_GATHERS = timedelta(seconds=60)
TELLING = (Delivery.Purpose.TELL, Delivery.Purpose.OWNER)
TEST_KEPT = timedelta(minutes=30)


@dataclass(frozen=True, slots=True)
class Recipient:
    """Where a message goes: a route, or the fleet's owner where there is none."""

    fleet_id: int
    route_id: int | None
    channel: str
    address: str

    @property
    def lane(self) -> str:
        return f"owner-{self.fleet_id}" if self.route_id is None else f"route-{self.route_id}"


def recipient_of(route: NoticeRoute) -> Recipient:
    return Recipient(route.fleet_id, route.pk, str(route.channel), route.address)


def owner_of(fleet: Fleet) -> Recipient:
    return Recipient(fleet.pk, None, str(Channel.EMAIL), fleet.owner_email)


def new_message_id() -> str:
    return f"msg_{uuid.uuid4().hex}"


def queue(
    recipient: Recipient,
    *,
    purpose: Delivery.Purpose,
    dedupe_key: str,
    document: dict[str, Any],
    now: datetime,
    notice: Notice | None = None,
    subjects: Collection[int] = (),
    reason: Reason = Reason.NOTHING,
    urgency: str = "",
    summary: Delivery | None = None,
    not_before: datetime | None = None,
    kept: timedelta = KEPT,
) -> Delivery:
    """A message in the queue. The same dedupe key again returns the row that is already there."""
    if recipient.channel == Channel.EMAIL and purpose == Delivery.Purpose.TELL:
        kept = KEPT_MAIL.get(urgency, kept)
    start = max(not_before or now, now)
    row, _ = Delivery.objects.for_fleet(recipient.fleet_id).get_or_create(
        dedupe_key=dedupe_key,
        defaults={
            "fleet_id": recipient.fleet_id,
            "notice": notice,
            "route_id": recipient.route_id,
            "summary": summary,
            "purpose": purpose,
            "channel": recipient.channel,
            "address": recipient.address,
            "lane": recipient.lane,
            "message_id": new_message_id(),
            "urgency": urgency,
            "reason": str(reason),
            "round": notice.round if notice else 0,
            "step": notice.step if notice else 0,
            "subjects": sorted(subjects),
            "document": document,
            "next_attempt_at": start,
            "not_after": start + kept,
            "created_at": now,
        },
    )
    return row


def supersede(notice: Notice, recipient: Recipient, subjects: Collection[int]) -> int:
    """Cancels older messages of the notice that still wait on this lane: the new one says what they would have said.

    On a webhook each subject has its own messages; only those about the same subject give way.
    """
    waiting = Delivery.objects.for_fleet(recipient.fleet_id).filter(
        notice=notice, lane=recipient.lane, state__in=WAITING, purpose__in=TELLING, by_hand=False
    )
    whole = recipient.channel == Channel.EMAIL
    ids = [row.pk for row in waiting.order_by("pk") if whole or set(row.subjects) <= set(subjects)]
    return _cancel(ids, why="superseded by a newer message")


def cancel_waiting(notice: Notice, *, why: str) -> int:
    """Cancels what still waits of a notice that has closed. Closures themselves go out."""
    waiting = (
        Delivery.objects.for_fleet(notice.fleet_id)
        .filter(notice=notice, state__in=WAITING, by_hand=False)
        .filter(purpose__in=TELLING, summary__isnull=True)
    )
    return _cancel(list(waiting.order_by("pk").values_list("pk", flat=True)), why=why)


def _cancel(ids: list[int], *, why: str) -> int:
    rows = Delivery.objects.across_fleets().filter(pk__in=ids, state__in=WAITING)
    return rows.update(state=Delivery.State.CANCELLED, last_error=why)


def open_summary(recipient: Recipient, *, now: datetime) -> Delivery:
    """The summary that still gathers lines for this recipient; at most one leaves in each quarter of an hour."""
    window = int(now.timestamp()) // int(SUMMARY_EVERY.total_seconds())
    for number in (window, window + 1):
        starts = datetime.fromtimestamp(number * SUMMARY_EVERY.total_seconds(), UTC)
        made = queue(
            recipient,
            purpose=Delivery.Purpose.SUMMARY,
            dedupe_key=f"summary:{recipient.lane}:{number}",
            document={},
            reason=Reason.SUMMARY,
            not_before=max(starts, now + SUMMARY_GATHERS),
            now=now,
        )
        locked = Delivery.objects.for_fleet(recipient.fleet_id).select_for_update().get(pk=made.pk)
        if locked.state == Delivery.State.QUEUED and not locked.document:
            return locked
    raise RuntimeError(f"Both summaries of {recipient.lane} have left already.")


def hurry_lanes(lanes: Collection[str], *, now: datetime) -> int:
    """Tries the head of a lane again when something new stands behind it, instead of at the end of its pause."""
    waiting = Delivery.objects.across_fleets().filter(
        lane__in=lanes, state=Delivery.State.RETRY_WAIT, next_attempt_at__gt=now
    )
    ids = list(waiting.order_by("pk").values_list("pk", flat=True))
    return Delivery.objects.across_fleets().filter(Q(pk__in=ids)).update(next_attempt_at=now)


def unfinished_of_route(route_id: int) -> list[int]:
    """Open notices that still have a message on this route."""
    rows = Delivery.objects.across_fleets().filter(route_id=route_id, state__in=UNFINISHED, notice__isnull=False)
    return sorted(set(rows.values_list("notice_id", flat=True)))
