"""What workers do for alarms. Each task is one service call; running it twice, or late, does no harm."""

from __future__ import annotations

from alarms.auditor import audit as audit_pipeline
from alarms.deliveries.sending import deliver_due as deliver_due_messages
from fleet.bell import ring
from fleet.celery import app
from fleet.clock import db_now


@app.task(name="alarms.deliver_due")
def deliver_due() -> int:
    """Takes due steps and sends due messages; rings again when it ran out of time. Returns how many were sent."""
    done = deliver_due_messages(clock=db_now)
    if not done.finished:
        ring("alarms.deliver_due")
    return done.sent


@app.task(name="alarms.audit")
def audit() -> bool:
    """Proves the pipeline and mends it. True when there was nothing to mend."""
    return audit_pipeline(now=db_now()).clean
