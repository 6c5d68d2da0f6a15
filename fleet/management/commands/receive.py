"""The receivers of mail and webhooks as a process of its own: for trials, where nobody else would take the messages."""

from __future__ import annotations

import threading
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from fleet.embedded.errors import CannotStart
from fleet.embedded.inbox import FILE, USUAL_PORTS, Inbox, Receipt
from fleet.embedded.receivers import HOST
from fleet.embedded.service import stop_on_signals


class Command(BaseCommand):
    help = "Receives mail and webhooks, prints each and keeps it in a file. Takes everything; never expose it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default=HOST, help="Address to listen on.")
        parser.add_argument("--mail-port", type=int, default=USUAL_PORTS["mail"])
        parser.add_argument("--hook-port", type=int, default=USUAL_PORTS["webhook"])

    def handle(self, *args: Any, **options: Any) -> None:
        folder = Path(settings.STATE_DIR)
        folder.mkdir(parents=True, exist_ok=True)
        ports = {"mail": options["mail_port"], "webhook": options["hook_port"]}
        stopping = threading.Event()
        undo = stop_on_signals(stopping)
        try:
            inbox = Inbox(folder, on_receipt=self._show, host=options["host"], ports=ports).start()
        except CannotStart as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Mail at {inbox.mail_port}, webhooks at {inbox.hook_port}; kept in {folder / FILE}.")
        self.stdout.flush()
        stopping.wait()
        undo()
        inbox.stop()

    def _show(self, receipt: Receipt) -> None:
        self.stdout.write(f"{receipt.channel} to {receipt.to}: {receipt.subject}{' (again)' if receipt.repeat else ''}")
        self.stdout.flush()
