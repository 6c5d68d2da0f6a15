"""The sweep as a process of its own, for production. Any number of them may run."""

from __future__ import annotations

import threading
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from prometheus_client import start_http_server

from fleet.embedded.service import stop_on_signals
from fleet.sweep import Sweep, chores, sweep_once


class Command(BaseCommand):
    help = "Does whatever is due although no bell announced it, again and again. Runs beside the workers."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="Run every chore once, say what it found, and end.")
        parser.add_argument(
            "--metrics", metavar="HOST:PORT", help="Answer Prometheus there: how old due work is, what was swept."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["once"]:
            for chore_id, found in sweep_once().items():
                self.stdout.write(f"{chore_id}: {found}")
            return
        if options["metrics"]:
            _answer_prometheus(options["metrics"])
        stopping = threading.Event()
        undo = stop_on_signals(stopping)
        sweep = Sweep()
        sweep.start()
        self.stdout.write(f"Sweeping: {', '.join(chores.ids())}.")
        self.stdout.flush()
        stopping.wait()
        undo()
        if not sweep.stop():
            raise CommandError("A chore was still at work when the time to stop was over; it is safe to start again.")


def _answer_prometheus(where: str) -> None:
    host, _, port = where.rpartition(":")
    if not host or not port.isdecimal() or not 0 < int(port) < 65536:
        raise CommandError(f"--metrics {where!r} is not HOST:PORT.")
    try:
        start_http_server(int(port), addr=host)
    except OSError as error:
        raise CommandError(f"Cannot listen on {where}: {error.strerror}.") from error
