"""Proves that the pipeline keeps its promises, and mends what it finds: nothing is ever silently not told.

Every open hold has a notice; every notice has a next look; nothing that is due is old. Runs every minute, twice does
no harm.
"""

from __future__ import annotations

import logging
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta

from django.db.models import Min

from alarms.deliveries.claims import due_deliveries, unblocked
from alarms.metrics import AUDITOR_LAST_SUCCESS, AUDITOR_REPAIRS, NOTICES_UNDELIVERABLE
from alarms.models import Notice
from fleet.bell import ring
from fleet.holds import HoldListener, listeners
from fleet.metrics import DUE_OLDEST, LISTENER_FAILURES
from fleet.models import Trip
from fleet.trips.due import LIVE

logger = logging.getLogger(__name__)
OLD = timedelta(minutes=2)
TASKS = {"assess": "fleet.assess_due", "notices": "alarms.deliver_due", "deliveries": "alarms.deliver_due"}


@dataclass(frozen=True, slots=True)
class AuditReport:
    """What the auditor found."""

    missed_holds: int
    """Holds or alarms that a listener had not been told of; it has now."""
    broken_listeners: int
    undeliverable: int
    old_stages: tuple[str, ...]
    """Stages in which something has been due for more than two minutes; their bells were rung."""

    @property
    def clean(self) -> bool:
        return not (self.missed_holds or self.broken_listeners or self.old_stages)


def audit(*, now: datetime) -> AuditReport:
    """Looks at everything once, mends what can be mended, and sets the metrics."""
    told = [_mend(listener, now) for listener in listeners]
    undeliverable = Notice.objects.across_fleets().filter(state=Notice.State.UNDELIVERABLE).count()
    NOTICES_UNDELIVERABLE.set(undeliverable)
    report = AuditReport(
        missed_holds=sum(count for count in told if count is not None),
        broken_listeners=told.count(None),
        undeliverable=undeliverable,
        old_stages=_old_stages(now),
    )
    if report.missed_holds:
        AUDITOR_REPAIRS.labels(what="missed").inc(report.missed_holds)
    if not report.clean:
        logger.warning("The auditor found: %s", asdict(report))
    if report.broken_listeners == 0:
        AUDITOR_LAST_SUCCESS.set(now.timestamp())
    return report


def _mend(listener: HoldListener, now: datetime) -> int | None:
    """How much one listener had missed; None when it failed."""
    try:
        return listener.missed(now)
    except Exception:
        LISTENER_FAILURES.labels(listener=listener.id).inc()
        logger.exception("Listener %s could not be mended", listener.id)
        return None


def _old_stages(now: datetime) -> tuple[str, ...]:
    """Stages with something old; sets the age of each stage's oldest due work and rings for what is old."""
    oldest = {
        "assess": Trip.objects.across_fleets()
        .filter(state__in=LIVE, assess_due_at__lte=now)
        .aggregate(at=Min("assess_due_at"))["at"],
        "notices": Notice.objects.across_fleets().filter(next_at__lte=now).aggregate(at=Min("next_at"))["at"],
        "deliveries": unblocked(now).filter(due_deliveries(now)).aggregate(at=Min("next_attempt_at"))["at"],
    }
    old = []
    for stage, at in oldest.items():
        age = (now - at) if at is not None else timedelta(0)
        DUE_OLDEST.labels(stage=stage).set(age.total_seconds())
        if age > OLD:
            old.append(stage)
            AUDITOR_REPAIRS.labels(what=f"old_{stage}").inc()
            ring(TASKS[stage])
    return tuple(old)
