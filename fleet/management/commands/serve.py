"""The whole service in one process, on SQLite, without any other server."""

from __future__ import annotations

import threading
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from fleet.embedded.errors import CannotStart
from fleet.embedded.inbox import FILE, Inbox, Receipt
from fleet.embedded.service import Service, stop_on_signals, work_off


class Command(BaseCommand):
    help = "Runs web, worker, delivery and sweep in one process. Ctrl-C stops it cleanly."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, help="Port; 0 takes a free one. Default: 8000, or the next free one.")
        parser.add_argument(
            "--receivers", action="store_true", help="Also receive mail and webhooks on loopback and print them."
        )
        parser.add_argument("--once", action="store_true", help="Do what is due now, then end.")

    def handle(self, *args: Any, **options: Any) -> None:
        stopping = threading.Event()
        undo = stop_on_signals(stopping)
        try:
            self._serve(stopping, options)
        except CannotStart as error:
            raise CommandError(str(error)) from error
        finally:
            undo()

    def _serve(self, stopping: threading.Event, options: dict[str, Any]) -> None:
        service = Service(port=options["port"])
        service.prepare()
        inbox = Inbox(Path(settings.STATE_DIR), on_receipt=self._show)
        try:
            if options["receivers"]:
                inbox.start().take_over()
                self.stdout.write(
                    f"Mail arrives at {inbox.mail_port}, webhooks at {inbox.hook_url('/')}; all is kept in "
                    f"{Path(settings.STATE_DIR) / FILE}."
                )
            if options["once"]:
                self.stdout.write(f"Done: {work_off(limit_s=30)} things were due.")
                return
            service.start()
            self.stdout.write(
                f"warmgate answers at {service.url}{service.port_note}. API: {service.url}/api/docs/. Ctrl-C stops it."
            )
            self.stdout.flush()
            stopping.wait()
            self.stdout.write("Stopping.")
        finally:
            clean = service.stop()
            inbox.stop()
        if not clean:
            raise CommandError("Something was still at work when the time to stop was over; it is safe to start again.")

    def _show(self, receipt: Receipt) -> None:
        again = " (again)" if receipt.repeat else ""
        self.stdout.write(f"{receipt.channel} to {receipt.to}: {receipt.subject}{again}")
        self.stdout.flush()
