"""Whether a message that was queued is still worth sending: asked again just before each attempt."""

from __future__ import annotations

from datetime import datetime

from alarms.models import Channel, Delivery, Notice, NoticeRoute, NoticeSubject


def unwanted_because(delivery: Delivery, *, now: datetime) -> str | None:
    """Why the message is not sent any more; None when it is. Reads the notice and its subjects as they are now."""
    if delivery.by_hand:
        return None
    route = delivery.route
    if route is not None and (route.state != NoticeRoute.State.ENABLED or not route.member.is_active):
        return "the route is not in use any more"
    if delivery.notice_id is None or delivery.purpose == Delivery.Purpose.CLOSE:
        return None
    notice = Notice.objects.for_fleet(delivery.fleet_id).get(pk=delivery.notice_id)
    if notice.state == Notice.State.CLOSED:
        return "the notice has closed"
    rows = NoticeSubject.objects.for_fleet(delivery.fleet_id).filter(pk__in=delivery.subjects)
    if not rows.filter(ended_at__isnull=True).exists():
        return "what it is about has ended"
    if _seen(notice, delivery) and not _first_event(delivery):
        return "somebody has seen the notice"
    return None


def _seen(notice: Notice, delivery: Delivery) -> bool:
    return notice.state == Notice.State.SEEN and notice.seen_at is not None and delivery.created_at <= notice.seen_at


def _first_event(delivery: Delivery) -> bool:
    """A machine still needs to hear that a hold opened, whoever has seen it meanwhile."""
    return delivery.channel == Channel.WEBHOOK and delivery.document.get("change") == "opened"
