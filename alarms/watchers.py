"""Who inside this app is told that an alarm changed: the notices. Records know nothing of them.

A watcher runs in the transaction of the change and in its own savepoint: one that fails undoes its own work only.
It must bear being told twice.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime
from enum import StrEnum

from django.db import transaction

from alarms.models import Alarm
from fleet.metrics import LISTENER_FAILURES

logger = logging.getLogger(__name__)


class AlarmChange(StrEnum):
    """What became of a record."""

    OPENED = "opened"
    RAISED_AGAIN = "raised_again"
    """The unit reports it again after it had returned; the record is the same."""
    TIER_CHANGED = "tier_changed"
    RETURNED = "returned"
    SEEN = "seen"
    CLOSED = "closed"
    VOIDED = "voided"
    DAMAGE_ESTIMATED = "damage_estimated"
    """It is now known when the load takes damage; told once per estimate that appears, not per correction."""


Watcher = Callable[[Alarm, str, datetime], None]
watchers: list[Watcher] = []


def tell_watchers(alarm: Alarm, change: AlarmChange, *, now: datetime) -> None:
    """Tells every watcher of one change. Never raises."""
    for watcher in watchers:
        try:
            with transaction.atomic():
                watcher(alarm, change, now)
        except Exception:
            LISTENER_FAILURES.labels(listener=f"alarm_watcher:{watcher.__module__}").inc()
            logger.exception("A watcher failed for alarm %s (%s)", alarm.pk, change)
