"""Who does the service's work in the moved time: Celery tasks that bells wake, and the chores of the sweep.

A bell is heard in this thread, and its task then runs through Celery's own tracer, as in a worker of the solo pool.
In every third hour no bell is heard, as if the broker were away: then the sweep alone finds what is due.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from types import SimpleNamespace
from unittest.mock import patch

from fleet import bell, tasks
from fleet.celery import app
from fleet.clock import db_now
from fleet.sweep import ASSESS, DELIVER, Chore, chores
from tests.faults.winter.clock import MovedClock

DEAF_HOURS = 3
HOUSEKEEPING_EVERY_S = 300.0
"""Chores that neither assess nor deliver look so often here; the service's own look every minute or less."""


class Worker:
    """`work()` does what bells asked for, `sweep()` what is due; what fails in either fails the test."""

    def __init__(self, clock: MovedClock) -> None:
        self.clock, self.start = clock, clock.now
        self.rung: dict[str, None] = {}
        self.heard: Counter[str] = Counter()
        self.lost = 0
        self.mended = 0
        """What the auditor found to mend: nothing, if the pipeline keeps its promises."""
        self.chores = sorted(chores, key=lambda chore: (chore.lane == DELIVER, chore.lane != ASSESS, chore.id))
        self.next_at = {chore.id: clock.now for chore in self.chores}

    @contextmanager
    def employed(self) -> Iterator[None]:
        """Hears the bells of this process; a task that sleeps moves the clock."""
        app.loader.import_default_modules()
        bell.stand_ins.append(self._hear)
        try:
            with patch.object(tasks, "time", SimpleNamespace(sleep=self.clock.sleep)):
                yield
        finally:
            bell.stand_ins.remove(self._hear)

    def _hear(self, task: str) -> None:
        if int((self.clock.now - self.start).total_seconds() // 3600) % DEAF_HOURS == DEAF_HOURS - 1:
            self.lost += 1
        else:
            self.rung[task] = None

    def work(self) -> None:
        """Runs the tasks that were rung for, and those that they ring for, in the order of their bells."""
        while self.rung:
            task = next(iter(self.rung))
            del self.rung[task]
            app.tasks[task].apply(throw=True)
            self.heard[task] += 1

    def sweep(self) -> None:
        """Every chore that is due by the moved clock, straight."""
        for chore in self.chores:
            now: datetime = db_now()
            if now < self.next_at[chore.id]:
                continue
            self.next_at[chore.id] = now + _period_of(chore)
            found = chore.run(now)
            self.mended += found if chore.id == "alarms.audit" else 0


def _period_of(chore: Chore) -> timedelta:
    """Assessments and messages are looked for in every round."""
    least_s = 0.0 if chore.lane in (ASSESS, DELIVER) else HOUSEKEEPING_EVERY_S
    return timedelta(seconds=max(chore.every_s or 0.0, least_s))
