"""The sweep: a plain loop, straight on the database, that does whatever is due although no bell announced it.

Apps put their chores into `chores` in `AppConfig.ready()`. A chore calls the same service as the task a bell wakes, so
any number of sweeps may run beside any number of workers. Chores of one lane run one after the other in one thread;
lanes do not wait for each other, so that a receiver that hangs (lane `deliver`) never keeps an assessment waiting.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import close_old_connections, connections

from fleet.clock import db_now
from fleet.metrics import SWEPT
from fleet.registry import Registry

logger = logging.getLogger(__name__)
MAIN = "main"
DELIVER = "deliver"


@dataclass(frozen=True, slots=True)
class Chore:
    """One thing the sweep does. `run(now)` says how many things it found to do; running it twice does no harm."""

    id: str
    run: Callable[[datetime], int]
    every_s: float | None = None
    """Seconds between two runs; None: in every round of the sweep (WARMGATE_SWEEP_INTERVAL_S)."""
    lane: str = MAIN
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
    """Runs every chore (of a lane) once, in order of their ids; chore id to how much it found."""
    return {chore.id: run_chore(chore) for chore in chores if lane in (None, chore.lane)}


def take_back_claims() -> int:
    """Frees what processes that are gone had claimed, instead of waiting for their leases to end.

    Only for a process that knows that no other one is at work on the same database.
    """
    freed = 0
    for chore in chores:
        if chore.alone is not None:
            freed += chore.alone(db_now())
    return freed


class Sweep:
    """The running loop: one thread per lane, until `stop()`."""

    def __init__(self) -> None:
        self._stopping = threading.Event()
        self._threads = [
            threading.Thread(target=self._run, args=(lane,), name=f"sweep-{lane}", daemon=True) for lane in lanes()
        ]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def stop(self, *, timeout_s: float = 30) -> bool:
        """Lets each lane finish the chore it is at; whether all of them did in time."""
        self._stopping.set()
        give_up_at = time.monotonic() + timeout_s
        for thread in self._threads:
            thread.join(max(give_up_at - time.monotonic(), 0))
        return not any(thread.is_alive() for thread in self._threads)

    def _run(self, lane: str) -> None:
        next_at = {chore.id: time.monotonic() for chore in chores if chore.lane == lane}
        try:
            while not self._stopping.is_set():
                self._run_due(next_at)
                self._stopping.wait(max(min(next_at.values()) - time.monotonic(), 0.01))
        finally:
            connections.close_all()

    def _run_due(self, next_at: dict[str, float]) -> None:
        for chore_id in _due(next_at, now_s=time.monotonic()):
            if self._stopping.is_set():
                return
            run_chore(chores[chore_id])
            next_at[chore_id] = time.monotonic() + chores[chore_id].period_s


def _due(next_at: dict[str, float], *, now_s: float) -> Iterable[str]:
    return [chore_id for chore_id, at in sorted(next_at.items()) if at <= now_s]
