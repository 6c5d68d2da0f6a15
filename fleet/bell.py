"""Wakes workers after a commit. The database is the truth; a bell that is lost costs latency, never data.

Tasks are rung by name, so that nothing here knows what they do. After one failure the bell keeps quiet for a while:
otherwise every request would wait for a broker that is not there. A process that can do the work itself (the sweep)
says so in `stand_ins`: it is told at once of every bell of its own that no worker hears.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from functools import partial

from django.conf import settings
from django.db import transaction

from fleet.celery import app
from fleet.metrics import BELL

logger = logging.getLogger(__name__)
MOST_WAITING = 1000
"""More bells than this wait only where no worker takes them: one would do, since a task does whatever is due."""
ASSESS_TASK = "fleet.assess_due"
DELIVER_TASK = "alarms.deliver_due"
"""The tasks a commit can make worth waking, by name: whoever rings need not know where they live."""
QUEUES = (settings.CELERY_TASK_DEFAULT_QUEUE, *(route["queue"] for route in settings.CELERY_TASK_ROUTES.values()))


class Breaker:
    """Open for `pause_s` after a failure. Per process; the clock is monotonic."""

    def __init__(self) -> None:
        self._quiet_until = 0.0
        self._lock = threading.Lock()

    def closed(self) -> bool:
        with self._lock:
            return time.monotonic() >= self._quiet_until

    def trip(self, pause_s: float) -> None:
        with self._lock:
            self._quiet_until = time.monotonic() + pause_s

    def reset(self) -> None:
        with self._lock:
            self._quiet_until = 0.0


breaker = Breaker()
stand_ins: list[Callable[[str], None]] = []
"""Told the name of a task that was rung for in this process and that no worker heard of. Must return at once."""


def ring(task: str) -> None:
    """Asks the worker to run *task* once the current transaction has committed. Never raises."""
    transaction.on_commit(partial(_ring_now, task), robust=True)


def _ring_now(task: str) -> None:
    if settings.BELL == "auto" and _heard(task):
        return
    for stand_in in stand_ins:
        stand_in(task)


def _heard(task: str) -> bool:
    """Whether the broker took the message."""
    if not breaker.closed():
        BELL.labels(outcome="quiet").inc()
        return False
    try:
        app.send_task(task, retry=False, expires=60, ignore_result=True)
    except Exception as error:  # noqa: BLE001 - any broker failure must leave the commit untouched
        breaker.trip(settings.BELL_PAUSE_S)
        BELL.labels(outcome="failed").inc()
        logger.warning("The bell did not ring for %s: %s", task, error)
        return False
    BELL.labels(outcome="rung").inc()
    return True


def drop_unheard(*, most: int = MOST_WAITING) -> int:
    """Empties each queue in which more than *most* bells wait, and says how many that were. Never raises.

    A bell runs out after a minute, but only a worker takes it out of its queue: without one the broker would keep a
    kilobyte for each commit. What the bells were for is due in the database, where the sweep finds it.
    """
    if settings.BELL != "auto" or not breaker.closed():
        return 0
    dropped = 0
    try:
        with app.connection_for_write() as connection:
            for name in QUEUES:
                queue = app.amqp.queues[name](connection.default_channel)
                if queue.queue_declare().message_count > most:
                    dropped += queue.purge()
    except Exception as error:  # noqa: BLE001 - as for a bell: the broker may fail in any way
        breaker.trip(settings.BELL_PAUSE_S)
        logger.warning("Bells that no worker takes could not be looked for: %s", error)
    return dropped
