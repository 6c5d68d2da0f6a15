"""What workers do for fleet. Each task is one service call; running it twice, or late, does no harm."""

from __future__ import annotations

import time
from datetime import timedelta

from fleet.celery import app
from fleet.metrics import ASSESSED_BY
from fleet.readiness.service import assess_due as assess_due_trips
from fleet.trips.due import soonest_due_s

MAX_ROUNDS = 50
"""One task ends after this many batches; what is left is found by the next bell or the sweep."""
LINGER = timedelta(seconds=1.5)
"""Ingest makes trips due a second ahead, so that a burst of readings is one assessment. Whoever is woken waits so long
for what is about to fall due; a bell that found nothing would leave the work to the sweep."""


@app.task(name="fleet.assess_due")
def assess_due() -> int:
    """Assesses whatever is due, batch after batch."""
    return assess_all_due(woken_by="task")


def assess_all_due(*, woken_by: str) -> int:
    """Assesses batches until nothing is due or about to be; counts the trips under what woke it."""
    total = 0
    for _ in range(MAX_ROUNDS):
        done = assess_due_trips()
        total += done
        if done == 0:
            wait_s = soonest_due_s(within=LINGER)
            if wait_s is None:
                break
            time.sleep(wait_s)
    ASSESSED_BY.labels(woken_by=woken_by).inc(total)
    return total
