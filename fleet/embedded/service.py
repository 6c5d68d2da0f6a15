"""Puts the parts together: database, receivers, web, workers, sweep; and takes them down in the opposite order."""

from __future__ import annotations

import logging
import os
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import FrameType

from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections

from fleet.embedded.lock import StateLock
from fleet.embedded.web import Web
from fleet.embedded.workers import Workers
from fleet.sweep import Sweep, sweep_once, take_back_claims

logger = logging.getLogger(__name__)
HOST = "127.0.0.1"
USUAL_PORT = 8000
QUIET_ROUNDS = 2
SWEEP_S = 1.0
"""In one process a sweep costs little; it is what finds work that falls due by time alone."""


class Service:
    """The running embedded service. `start()` returns when it answers; `stop()` when every thread has ended."""

    def __init__(self, *, port: int | None) -> None:
        """*port* None takes the usual one or the next that is free."""
        self._asked_port = port
        self._lock = StateLock(Path(settings.STATE_DIR))
        self._web: Web | None = None
        self._workers: Workers | None = None
        self._sweep: Sweep | None = None

    @property
    def url(self) -> str:
        assert self._web is not None
        return self._web.url

    @property
    def port_note(self) -> str:
        """Why it is not the usual port, if that surprises anybody."""
        moved = self._asked_port is None and self._web is not None and self._web.port != USUAL_PORT
        return f" (port {USUAL_PORT} is taken)" if moved else ""

    def take_folder(self) -> None:
        """Makes sure that no other process serves from the same state folder. *Raises* CannotStart."""
        if connection.vendor == "sqlite" and not self._lock.held:
            self._lock.take()

    def prepare(self) -> None:
        """Takes the state folder and brings the database up to date. *Raises* CannotStart."""
        self.take_folder()
        call_command("migrate", verbosity=0, interactive=False)
        if self._lock.held:
            take_back_claims()

    def start(self) -> None:
        """*Raises* CannotStart when the port is taken."""
        from fleet.wsgi import application

        port = USUAL_PORT if self._asked_port is None else self._asked_port
        self._web = Web(application, host=HOST, port=port, take_next=self._asked_port is None)
        if "WARMGATE_PUBLIC_URL" not in os.environ:
            settings.PUBLIC_URL = self._web.url
        self._web.start()
        self._workers = Workers()
        if not self._workers.start():
            logger.warning("The workers are slow to start; until then the sweep does their work")
        if "WARMGATE_SWEEP_INTERVAL_S" not in os.environ:
            settings.SWEEP_INTERVAL_S = SWEEP_S
        self._sweep = Sweep()
        self._sweep.start()

    def stop(self) -> bool:
        """Stops taking work, lets what is at work finish; whether all of it did."""
        clean = [part.stop() for part in (self._web, self._sweep, self._workers) if part is not None]
        connections.close_all()
        self._lock.free()
        return all(clean)


def work_off(*, limit_s: float) -> int:
    """Does whatever is due, round after round, until nothing is; how many things that was."""
    total, quiet, give_up_at = 0, 0, time.monotonic() + limit_s
    while quiet < QUIET_ROUNDS and time.monotonic() < give_up_at:
        found = sum(sweep_once().values())
        total += found
        quiet = 0 if found else quiet + 1
        if quiet < QUIET_ROUNDS:
            time.sleep(0.2)
    return total


def stop_on_signals(stopping: threading.Event) -> Callable[[], None]:
    """SIGINT and SIGTERM set *stopping*; a second one ends the process at once. Returns how to undo that."""

    def handle(number: int, frame: FrameType | None) -> None:
        if stopping.is_set():
            raise SystemExit(128 + number)
        stopping.set()

    before = {number: signal.signal(number, handle) for number in (signal.SIGINT, signal.SIGTERM)}

    def undo() -> None:
        for number, handler in before.items():
            signal.signal(number, handler)

    return undo
