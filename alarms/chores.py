"""What alarms asks of the sweep: deliver what is due, prove the pipeline, free what a dead process had claimed, and
forget notices that are older than records are kept."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings

from alarms.auditor import audit as audit_pipeline
from alarms.deliveries.purging import purge_notices
from alarms.deliveries.sending import deliver_due
from alarms.models import Delivery
from fleet.bell import DELIVER_TASK
from fleet.clock import db_now
from fleet.sweep import DELIVER, Chore, chores


def deliver(now: datetime) -> int:
    """Takes due steps and sends due messages, in a lane of its own; how many it found."""
    done = deliver_due(clock=db_now)
    return done.steps + done.sent + done.failed


def audit(now: datetime) -> int:
    """What the auditor had to mend, and the stages it found late."""
    report = audit_pipeline(now=now)
    return report.missed_holds + len(report.old_stages)


def take_back_deliveries(now: datetime) -> int:
    """Ends the leases of messages that were on their way when their process died; they go out again under their id."""
    leased = Delivery.objects.across_fleets().filter(state=Delivery.State.LEASED, lease_until__gt=now)
    return leased.update(lease_until=now)


def purge(now: datetime) -> int:
    """Deletes notices older than WARMGATE_RECORDS_KEEP_MONTHS; the deletion itself is an entry of the audit."""
    return purge_notices(now=now, keep_months=settings.RECORDS_KEEP_MONTHS)


CHORES = (
    Chore("alarms.audit", audit, every_s=60),
    Chore("alarms.purge_notices", purge, every_s=6 * 3600.0),
    Chore("alarms.deliver", deliver, lane=DELIVER, task=DELIVER_TASK, alone=take_back_deliveries),
)


def register() -> None:
    for chore in CHORES:
        chores.add(chore)
