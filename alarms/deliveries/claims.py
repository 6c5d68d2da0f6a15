"""Claims one message under a lease, and writes down what became of the attempt.

The claim is short and commits before anything is sent; what is written afterwards counts only while the lease is
still ours. A worker that dies costs one lease of time, and its message goes out again under the same id.
"""

from __future__ import annotations

import os
import socket
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import Exists, OuterRef, Q

from alarms.channels.base import TransportError
from alarms.deliveries.summaries import summary_document
from alarms.deliveries.wanted import unwanted_because
from alarms.metrics import DELIVERIES
from alarms.models import WAITING, Delivery, Notice, NoticeRoute
from fleet.retry import on_conflict

LEASE = timedelta(seconds=60)
RETRY_AFTER = (
    timedelta(seconds=5),
    timedelta(seconds=30),
    timedelta(minutes=2),
    timedelta(minutes=10),
    timedelta(hours=1),
)
"""Pause after the first, second … failed attempt; the last one repeats until `not_after`."""
FAILING_AFTER = 2
"""A route counts as failing after so many failures of one message, or after one that is permanent."""
S = Delivery.State


@dataclass(frozen=True, slots=True)
class Claim:
    """A message that this worker alone may send until the lease ends."""

    delivery: Delivery
    owner: str


def due_deliveries(now: datetime) -> Q:
    """Messages to be sent or sent again: due ones, and those whose lease has run out."""
    return Q(state__in=WAITING, next_attempt_at__lte=now) | Q(state=S.LEASED, lease_until__lte=now)


def claim_one(*, now: datetime) -> Claim | None:
    """The message that has been due longest and is first in its lane, under a lease; None when there is none.

    Messages that are not wanted any more, or come too late, are put aside on the way.
    """
    while True:
        found = on_conflict(lambda: _claim(now))
        if found is None or isinstance(found, Claim):
            return found


def _claim(now: datetime) -> Claim | bool | None:
    """One look at the queue: a claim, None when nothing is due, True when a message was put aside instead."""
    with transaction.atomic():
        delivery = _first_in_lane(now)
        if delivery is None:
            return None
        if delivery.state == S.LEASED:
            delivery.uncertain = True  # its worker died, perhaps after sending
        if why := unwanted_because(delivery, now=now):
            return _put_aside(delivery, S.CANCELLED, why)
        if delivery.not_after <= now:
            return _put_aside(delivery, S.FAILED, delivery.last_error or "too late to be of use")
        if delivery.purpose == Delivery.Purpose.SUMMARY and not delivery.document:
            delivery.document = summary_document(delivery, now=now)
        owner = f"{socket.gethostname()[:20]}:{os.getpid()}:{uuid.uuid4().hex[:12]}"
        delivery.state, delivery.lease_owner, delivery.lease_until = S.LEASED, owner, now + LEASE
        delivery.attempts += 1
        delivery.save()
        return Claim(delivery, owner)


def _first_in_lane(now: datetime) -> Delivery | None:
    """The longest due message that nothing older of its lane stands before."""
    rows = unblocked(now).filter(due_deliveries(now)).order_by("next_attempt_at", "pk").select_related("route__member")
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True, of=("self",))
    delivery: Delivery | None = rows.first()
    return delivery


def unblocked(now: datetime) -> Any:
    """Messages that are first in their lane.

    A message put off to a later moment (quiet hours, a gathering summary) does not stand before others; one that
    waits for its next attempt does. Lines of a summary are not messages.
    """
    ahead = Delivery.objects.across_fleets().filter(
        Q(state__in=(S.LEASED, S.RETRY_WAIT)) | Q(state=S.QUEUED, next_attempt_at__lte=now),
        lane=OuterRef("lane"),
        pk__lt=OuterRef("pk"),
        summary__isnull=True,
    )
    return Delivery.objects.across_fleets().filter(~Exists(ahead), summary__isnull=True)


def _put_aside(delivery: Delivery, state: Delivery.State, why: str) -> bool:
    delivery.state, delivery.last_error = state, why
    delivery.lease_owner, delivery.lease_until = "", None
    delivery.save()
    delivery.lines.filter(state=S.QUEUED).update(state=state, last_error=why)
    DELIVERIES.labels(channel=delivery.channel, outcome=str(state)).inc()
    return True


def mark_sent(claim: Claim, *, status: str, now: datetime) -> bool:
    """The channel took it. False when the lease was lost meanwhile: then somebody else answers for it."""

    def work() -> bool:
        with transaction.atomic():
            notices = _lock_notices(claim.delivery)
            if not _settle(claim, state=S.SENT, sent_at=now, last_status=status[:40], last_error=""):
                return False
            claim.delivery.lines.filter(state=S.QUEUED).update(state=S.SENT, sent_at=now)
            if claim.delivery.route_id is not None:
                _route_rows(claim.delivery).update(failing_since=None)
                _accepted(notices)
            return True

    return _counted(claim, on_conflict(work), "sent")


def _accepted(notice_ids: list[int]) -> None:
    """A channel took a message of these notices: they are sent, and not undeliverable any more."""
    open_ = (Notice.State.PENDING, Notice.State.UNDELIVERABLE)
    rows = Notice.objects.across_fleets().filter(pk__in=notice_ids, state__in=open_)
    rows.update(state=Notice.State.SENT)


def mark_failed(claim: Claim, error: TransportError, *, now: datetime) -> bool:
    """The attempt failed: the next one is set, unless none would help or none is in time."""
    delivery = claim.delivery
    again_at = now + RETRY_AFTER[min(delivery.attempts, len(RETRY_AFTER)) - 1]
    over = error.permanent or again_at > delivery.not_after

    def work() -> bool:
        with transaction.atomic():
            _lock_notices(delivery)
            settled = _settle(
                claim,
                state=S.FAILED if over else S.RETRY_WAIT,
                next_attempt_at=delivery.next_attempt_at if over else again_at,
                last_status=error.status[:40],
                last_error=error.detail[:300],
                uncertain=delivery.uncertain or error.uncertain,
            )
            if settled and over:
                delivery.lines.filter(state=S.QUEUED).update(state=S.FAILED, last_error=error.detail[:300])
            if settled and (error.permanent or delivery.attempts >= FAILING_AFTER):
                _route_rows(delivery).filter(failing_since__isnull=True).update(failing_since=now)
            return settled

    return _counted(claim, on_conflict(work), "failed" if over else "retry")


def _route_rows(delivery: Delivery) -> Any:
    """The route of the message; no row for the owner's."""
    return NoticeRoute.objects.for_fleet(delivery.fleet_id).filter(pk__in=[delivery.route_id or 0])


def _lock_notices(delivery: Delivery) -> list[int]:
    """The notices that the message speaks for, locked before any delivery: the order that everybody keeps."""
    ids = {delivery.notice_id, *delivery.lines.values_list("notice_id", flat=True)}
    rows = Notice.objects.across_fleets().filter(pk__in=[pk for pk in ids if pk is not None]).order_by("pk")
    return list(rows.select_for_update().values_list("pk", flat=True))


def _settle(claim: Claim, **columns: object) -> bool:
    """Ends the lease, if it is still ours."""
    mine = Delivery.objects.across_fleets().filter(pk=claim.delivery.pk, lease_owner=claim.owner, state=S.LEASED)
    return mine.update(lease_owner="", lease_until=None, **columns) == 1


def _counted(claim: Claim, ours: bool, outcome: str) -> bool:
    DELIVERIES.labels(channel=claim.delivery.channel, outcome=outcome if ours else "lease_lost").inc()
    return ours
