"""A newcomer's first minute: the service with an invented carrier's winter evening in it."""

from __future__ import annotations

import logging
import logging.config
import threading
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from fleet.demo.acts import ACTS
from fleet.demo.client import Refused
from fleet.demo.epilogue import tell_epilogue
from fleet.demo.founding import found_cast
from fleet.demo.scenario import load_scenario
from fleet.demo.scene import set_scene
from fleet.demo.stage import Interrupted, Stage, StoryStuck
from fleet.demo.state import start_over, write_shell_file
from fleet.demo.teller import Teller
from fleet.embedded.errors import CannotStart
from fleet.embedded.inbox import Inbox, Receipt
from fleet.embedded.service import Service, stop_on_signals

SLUG = "northfell"
LOG_FILE = "demo.log"


class Command(BaseCommand):
    help = "Plays one winter evening of an invented carrier through the API, then keeps serving until Ctrl-C."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, help="Port; 0 takes a free one. Default: 8000, or the next free one.")
        parser.add_argument("--once", action="store_true", help="End after the story.")
        parser.add_argument("--pace", type=float, default=0.5, help="Seconds of a short pause; 0 hurries.")
        parser.add_argument("--against", metavar="URL", help="Play against a service that runs on the same database.")
        parser.add_argument("--hook", metavar="URL", help="With --against: where its webhooks are to go.")

    def handle(self, *args: Any, **options: Any) -> None:
        stopping = threading.Event()
        undo = stop_on_signals(stopping)
        try:
            if options["against"]:
                self._play_against(options, stopping)
            else:
                self._play_here(options, stopping)
        except Interrupted:
            self.stdout.write("Stopped.")
        except (CannotStart, Refused, StoryStuck, OSError) as error:
            raise CommandError(str(error)) from error
        finally:
            undo()

    def _play_here(self, options: dict[str, Any], stopping: threading.Event) -> None:
        if connection.vendor != "sqlite":
            raise CommandError(
                "WARMGATE_DATABASE_URL is set: the demo makes its own service only on SQLite. Unset it, or start the "
                "service and say --against URL."
            )
        folder = Path(settings.STATE_DIR)
        service = Service(port=options["port"])
        self._quiet = True
        inbox = Inbox(folder, on_receipt=self._show)
        try:
            service.take_folder()
            start_over(folder, database=Path(str(settings.DATABASES["default"]["NAME"])), slug=SLUG)
            _log_to(folder / LOG_FILE)
            service.prepare()
            inbox.start().take_over()
            service.start()
            self._tell(service.url, service.port_note, inbox.hook_url("/planning"), options, stopping, folder=folder)
            if not options["once"]:
                self._keep_serving(service, folder, stopping)
        finally:
            clean = service.stop()
            inbox.stop()
        if not clean:
            raise CommandError("Something was still at work when the time to stop was over; it is safe to start again.")

    def _play_against(self, options: dict[str, Any], stopping: threading.Event) -> None:
        if not options["hook"]:
            raise CommandError("--against needs --hook URL, a webhook address that the service may call.")
        self._tell(options["against"].rstrip("/"), "", options["hook"], options, stopping, folder=None)

    def _tell(
        self,
        url: str,
        note: str,
        hook_url: str,
        options: dict[str, Any],
        stopping: threading.Event,
        *,
        folder: Path | None,
    ) -> None:
        scenario = load_scenario(starts_at=timezone.now())
        cast = found_cast(scenario, url=url)
        shell_file = None
        if folder is not None:
            shell_file = write_shell_file(folder, url=url, tokens=cast.tokens, people=cast.people)
        teller = Teller()
        stage = Stage(scenario, cast, teller, options["pace"], stopping, hook_url, folder)
        teller.title(
            f"warmgate — one winter evening at {scenario.fleet['name']} (invented)",
            f"The service answers at {url}{note}; all of this goes through its HTTP API.",
        )
        set_scene(stage)
        for act in ACTS:
            act(stage)
        tell_epilogue(stage, url=url, shell_file=shell_file)

    def _keep_serving(self, service: Service, folder: Path, stopping: threading.Event) -> None:
        self.stdout.write(f"\nServing at {service.url} (log: {folder / LOG_FILE}). Ctrl-C ends.")
        self.stdout.flush()
        self._quiet = False
        stopping.wait()

    def _show(self, receipt: Receipt) -> None:
        """During the story the acts show what arrives; afterwards each message has a line."""
        if not self._quiet:
            self.stdout.write(f"   {receipt.channel} to {receipt.to}: {receipt.subject}")
            self.stdout.flush()


def _log_to(path: Path) -> None:
    """Log lines go to a file, so that the story can be read; also when Django sets logging up once more."""
    path.unlink(missing_ok=True)
    handler = {"class": "logging.FileHandler", "filename": str(path), "encoding": "utf-8", "formatter": "json"}
    settings.LOGGING = settings.LOGGING | {"handlers": {"console": handler}}
    logging.config.dictConfig(settings.LOGGING)
