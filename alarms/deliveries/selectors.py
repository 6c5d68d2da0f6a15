"""What stands in the queues: for the loop that wants to know when to look again, for the auditor and for people."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Min

from alarms.deliveries.claims import due_deliveries, unblocked
from alarms.models import WAITING, Delivery, Notice, NoticeRoute

S = Delivery.State


def next_due_at(*, now: datetime) -> datetime | None:
    """The moment at which the deliver queue next has something to do; None when nothing stands in it.

    A moment in the past means: now. Messages behind another one of their lane do not count: they wait for it.
    """
    first = unblocked(now)
    moments = (
        Notice.objects.across_fleets().aggregate(at=Min("next_at"))["at"],
        first.filter(state__in=WAITING).aggregate(at=Min("next_attempt_at"))["at"],
        first.filter(state=S.LEASED).aggregate(at=Min("lease_until"))["at"],
    )
    return min((moment for moment in moments if moment is not None), default=None)


@dataclass(frozen=True, slots=True)
class PipelineFigures:
    """The pipeline at a glance."""

    notices_open: int
    notices_due: int
    notices_undeliverable: int
    oldest_notice_at: datetime | None
    deliveries_due: int
    deliveries_leased: int
    deliveries_waiting: int
    deliveries_failed: int
    oldest_delivery_at: datetime | None
    routes_failing: int
    routes_disabled: int


def pipeline_figures(*, now: datetime) -> PipelineFigures:
    """Counts and ages of everything that is due, under way or failing, over all fleets."""
    notices = Notice.objects.across_fleets().exclude(state=Notice.State.CLOSED)
    due = unblocked(now).filter(due_deliveries(now))
    routes = NoticeRoute.objects.across_fleets()
    return PipelineFigures(
        notices_open=notices.count(),
        notices_due=notices.filter(next_at__lte=now).count(),
        notices_undeliverable=notices.filter(state=Notice.State.UNDELIVERABLE).count(),
        oldest_notice_at=notices.filter(next_at__lte=now).aggregate(at=Min("next_at"))["at"],
        deliveries_due=due.count(),
        deliveries_leased=_lone().filter(state=S.LEASED, lease_until__gt=now).count(),
        deliveries_waiting=_lone().filter(state__in=WAITING, next_attempt_at__gt=now).count(),
        deliveries_failed=_lone().filter(state=S.FAILED).count(),
        oldest_delivery_at=due.aggregate(at=Min("next_attempt_at"))["at"],
        routes_failing=routes.filter(state=NoticeRoute.State.ENABLED, failing_since__isnull=False).count(),
        routes_disabled=routes.filter(state=NoticeRoute.State.DISABLED).count(),
    )


def _lone() -> Any:
    """Messages that are sent themselves, not as a line of a summary."""
    return Delivery.objects.across_fleets().filter(summary__isnull=True)


def failing_deliveries(*, limit: int = 20) -> list[Delivery]:
    """Messages that are retried or were given up, newest first."""
    rows = _lone().filter(state__in=(S.RETRY_WAIT, S.FAILED)).select_related("route__member", "fleet")
    return list(rows.order_by("-pk")[:limit])
