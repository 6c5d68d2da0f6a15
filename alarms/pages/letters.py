"""Who was told of a trip, on which way, and what became of each message."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from alarms.models import Delivery, Notice, NoticeSubject
from alarms.notices.views import READERS
from fleet.models import Member, Trip

MOST, SHOWN = 60, 8
STATES = {
    Delivery.State.QUEUED: "waits to be sent",
    Delivery.State.LEASED: "is being sent",
    Delivery.State.RETRY_WAIT: "did not get through, is tried again",
    Delivery.State.SENT: "sent",
    Delivery.State.FAILED: "given up",
    Delivery.State.CANCELLED: "not needed any more",
}
PURPOSES = {
    Delivery.Purpose.TELL: "told",
    Delivery.Purpose.CLOSE: "told that it is over",
    Delivery.Purpose.SUMMARY: "told in a summary",
    Delivery.Purpose.OWNER: "the owner was told",
    Delivery.Purpose.TEST: "test",
}
NOTICES = {
    Notice.State.PENDING: "nobody has been told yet",
    Notice.State.SENT: "told, not seen by anybody yet",
    Notice.State.SEEN: "seen",
    Notice.State.UNDELIVERABLE: "no way of telling anybody worked",
    Notice.State.CLOSED: "closed",
}


@dataclass(frozen=True, slots=True)
class Told:
    """One message, in words."""

    delivery: Delivery
    to: str
    purpose: str
    state: str


def notices_of(trip: Trip, member: Any) -> dict[str, Any] | None:
    """Notices that speak of the trip, newest first, and their messages; None for who may not read them, or where there
    are none. Two statements."""
    if not isinstance(member, Member) or member.role not in READERS:
        return None
    subjects = NoticeSubject.objects.for_fleet(trip.fleet_id).filter(trip=trip).values("notice")
    notices = list(
        Notice.objects.for_fleet(trip.fleet_id)
        .filter(pk__in=subjects)
        .select_related("unit", "seen_by")
        .order_by("-pk")
    )
    if not notices:
        return None
    sent = Delivery.objects.for_fleet(trip.fleet_id).filter(notice__in=[notice.pk for notice in notices])
    told = [_told(row) for row in sent.select_related("route__member").order_by("-pk")[:MOST]]
    return {
        "notices": [(notice, NOTICES[Notice.State(notice.state)], notice.state != "closed") for notice in notices],
        "told": told[:SHOWN],
        "told_before": told[SHOWN:],
    }


def _told(row: Delivery) -> Told:
    person = str(row.route.member) if row.route else "the owner"
    return Told(
        delivery=row,
        to=f"{person}, {row.channel}",
        purpose=PURPOSES[Delivery.Purpose(row.purpose)],
        state=STATES[Delivery.State(row.state)],
    )
