"""The sweep: a plain loop, straight on the database, that does whatever is due although no bell announced it.

Apps put their chores into `chores` in `AppConfig.ready()`. A chore calls the same service as the task a bell wakes, so
any number of sweeps may run beside any number of workers. Chores of one lane run one after the other in one thread;
lanes do not wait for each other, so that neither a receiver that hangs nor long housekeeping delays an assessment.

What one chore leaves for another is done in the same round: while the broker is away, the bell that a chore rings wakes
the chore that does that task (`fleet.bell.stand_ins`), and nobody waits for two intervals of the sweep.
"""

from __future__ import annotations

import logging
import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import close_old_connections, connections

from fleet import bell
from fleet.clock import db_now
from fleet.metrics import SWEPT
from fleet.registry import Registry

logger = logging.getLogger(__name__)
ASSESS, MAIN, DELIVER = "assess", "main", "deliver"
"""Assessments wait for nothing; housekeeping may take its time; a receiver may hang."""


@dataclass(frozen=True, slots=True)
class Chore:
    """One thing the sweep does. `run(now)` says how many things it found to do; running it twice does no harm."""

    id: str
    run: Callable[[datetime], int]
    every_s: float | None = None
    """Seconds from the begin of one run to the next; None: in every round of the sweep (WARMGATE_SWEEP_INTERVAL_S)."""
    lane: str = MAIN
    task: str | None = None
    """The task that does the same for a bell. A bell of this process that no worker hears runs the chore at once."""
    alone: Callable[[datetime], int] | None = None
    """Run once by a process that knows itself to be the only one: frees at once what a dead process had claimed."""

    @property
    def period_s(self) -> float:
        return settings.SWEEP_INTERVAL_S if self.every_s is None else self.every_s


chores: Registry[Chore] = Registry("chores of the sweep")


def lanes() -> list[str]:
    """Every lane some chore runs in."""
    return sorted({chore.lane for chore in chores})


def run_chore(chore: Chore) -> int:
    """Runs one chore and counts what it found; a failure is logged, costs this run only, and counts as nothing."""
    close_old_connections()
    try:
        found = chore.run(db_now())
    except Exception:
        logger.exception("Chore %s failed; it is tried again in %g s", chore.id, chore.period_s)
        return 0
    finally:
        close_old_connections()
    if found:
        SWEPT.labels(stage=chore.id).inc(found)
    return found


def sweep_once(*, lane: str | None = None) -> dict[str, int]:
    """Runs every chore (of a lane) once; chore id to how much it found.

    Assessments first and messages last, else in order of ids: what is found leaves work for those that send.
    """
    ordered = sorted(chores, key=lambda chore: (chore.lane == DELIVER, chore.lane != ASSESS, chore.id))
    return {chore.id: run_chore(chore) for chore in ordered if lane in (None, chore.lane)}


def take_back_claims() -> int:
    """Frees what processes that are gone had claimed, instead of waiting for their leases to end.

    Only for a process that knows that no other one is at work on the same database.
    """
    freed = 0
    for chore in chores:
        if chore.alone is not None:
            freed += chore.alone(db_now())
    return freed


class Lane:
    """When the chores of one lane run next. Any thread may call one of them up."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._next_at = {chore.id: time.monotonic() for chore in chores if chore.lane == name}
        self._changed = threading.Condition()

    def call(self, task: str) -> None:
        """Makes the chores that do this task run at once."""
        with self._changed:
            called = [chore_id for chore_id in self._next_at if chores[chore_id].task == task]
            self._next_at |= dict.fromkeys(called, time.monotonic())
            self.wake()

    def wake(self) -> None:
        with self._changed:
            self._changed.notify_all()

    def take_due(self) -> list[Chore]:
        """The chores that are due, in order of their ids."""
        now = time.monotonic()
        with self._changed:
            due = [chores[chore_id] for chore_id, at in sorted(self._next_at.items()) if at <= now]
            self._next_at |= dict.fromkeys((chore.id for chore in due), math.inf)
        return due

    def done(self, chore: Chore, *, begun_s: float) -> None:
        """Sets the chore's next run, unless it was called while it ran."""
        with self._changed:
            again_at = max(begun_s + chore.period_s, time.monotonic())
            self._next_at[chore.id] = min(self._next_at[chore.id], again_at)

    def wait(self, stopping: threading.Event) -> None:
        """Until the next chore is due, one is called, or the lane is to stop."""
        with self._changed:
            left_s = min(self._next_at.values()) - time.monotonic()
            if left_s > 0 and not stopping.is_set():
                self._changed.wait(left_s)


class Sweep:
    """The running loop: one thread per lane, until `stop()`."""

    def __init__(self) -> None:
        self._stopping = threading.Event()
        self._lanes = [Lane(name) for name in lanes()]
        self._threads = [
            threading.Thread(target=self._run, args=(lane,), name=f"sweep-{lane.name}", daemon=True)
            for lane in self._lanes
        ]

    def start(self) -> None:
        bell.stand_ins.append(self._call)
        for thread in self._threads:
            thread.start()

    def stop(self, *, timeout_s: float = 30) -> bool:
        """Lets each lane finish the chore it is at; whether all of them did in time."""
        self._stopping.set()
        if self._call in bell.stand_ins:
            bell.stand_ins.remove(self._call)
        for lane in self._lanes:
            lane.wake()
        give_up_at = time.monotonic() + timeout_s
        for thread in self._threads:
            thread.join(max(give_up_at - time.monotonic(), 0))
        return not any(thread.is_alive() for thread in self._threads)

    def _call(self, task: str) -> None:
        for lane in self._lanes:
            lane.call(task)

    def _run(self, lane: Lane) -> None:
        try:
            while not self._stopping.is_set():
                for chore in lane.take_due():
                    if self._stopping.is_set():
                        return
                    begun_s = time.monotonic()
                    run_chore(chore)
                    lane.done(chore, begun_s=begun_s)
                lane.wait(self._stopping)
        finally:
            connections.close_all()
