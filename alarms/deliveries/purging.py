"""Removes closed notices with their messages when they are older than the operator keeps records.

Alarms and holds are records of their own and stay; what goes is who was told of them, and at which address.
"""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from alarms.models import Delivery, Notice, NoticeSubject
from alarms.models.notices import UNFINISHED
from fleet.checks.service_due import months_before
from fleet.clock import text_of
from fleet.records.audit import record_act
from fleet.units.state import lock_states

BATCH = 200


def purge_notices(*, now: datetime, keep_months: int, limit: int = BATCH) -> int:
    """Removes notices closed, and messages of no notice made, more than *keep_months* ago; how many rows of either.

    The removal of each notice is an audit entry. A notice with a message still on its way stays. Safe to run at any
    time, repeatedly; *limit* bounds each kind.
    """
    before = months_before(now, keep_months)
    old = Notice.objects.across_fleets().filter(state=Notice.State.CLOSED, closed_at__lt=before)
    on_their_way = Delivery.objects.across_fleets().filter(state__in=UNFINISHED, notice__isnull=False)
    ids = list(old.exclude(pk__in=on_their_way.values("notice")).order_by("pk").values_list("pk", flat=True)[:limit])
    return sum(_purge_notice(pk, now) for pk in ids) + _purge_loose(before, limit)


@transaction.atomic
def _purge_notice(pk: int, now: datetime) -> int:
    notice = Notice.objects.across_fleets().select_related("unit").get(pk=pk)
    lock_states([notice.unit_id])
    messages = Delivery.objects.for_fleet(notice.fleet_id).filter(notice=notice)
    content = {
        "unit": notice.unit.number,
        "opened_at": text_of(notice.opened_at),
        "closed_at": text_of(notice.closed_at) if notice.closed_at else None,
        "messages": messages.count(),
    }
    record_act(None, act="notice.purged", subject=notice, at=now, content=content)
    messages.delete()
    NoticeSubject.objects.for_fleet(notice.fleet_id).filter(notice=notice).delete()
    notice.delete()
    return 1


def _purge_loose(before: datetime, limit: int) -> int:
    """Messages of no notice (summaries, tests of a route, words to the owner) on which no other message leans."""
    old = Delivery.objects.across_fleets().filter(notice__isnull=True, created_at__lt=before, lines__isnull=True)
    ids = list(old.exclude(state__in=UNFINISHED).order_by("pk").values_list("pk", flat=True)[:limit])
    Delivery.objects.across_fleets().filter(pk__in=ids).delete()
    return len(ids)
