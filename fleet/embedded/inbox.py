"""Where the messages of `serve --receivers` arrive: a mailbox and a webhook receiver on loopback, and one file of all.

Ports are remembered in the state folder, because routes name them: after a crash the same addresses answer again.
"""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

from django.conf import settings

from fleet.clock import text_of
from fleet.embedded.errors import CannotStart
from fleet.embedded.receivers import HOST, HookReceiver, Mailbox, ReceivedHook, ReceivedMail

FILE = "received.jsonl"
PORTS_FILE = "receivers.json"
USUAL_PORTS = {"mail": 8025, "webhook": 8026}


@dataclass(frozen=True, slots=True)
class Receipt:
    """One message as it arrived. `id` is the same on every attempt; `repeat` says that it had arrived before."""

    channel: str
    at: str
    id: str
    to: str
    subject: str
    text: str
    repeat: bool


class Inbox:
    """Receives from `start()` to `stop()`, appends each message to `received.jsonl`, and tells *on_receipt*."""

    def __init__(
        self,
        folder: Path,
        *,
        on_receipt: Callable[[Receipt], None],
        host: str = HOST,
        ports: Mapping[str, int] | None = None,
    ) -> None:
        """*ports* ("mail", "webhook") are taken as they are; None remembers them from last time."""
        self._folder = folder
        self._host = host
        self._ports = ports
        self._on_receipt = on_receipt
        self._lock = threading.Lock()
        self._seen = {receipt["id"] for receipt in receipts_in(folder)}
        self._stack = ExitStack()
        self.mail_port = self.hook_port = 0

    def start(self) -> Self:
        """Listens. *Raises* CannotStart when a port is taken."""
        known = _remembered(self._folder) if self._ports is None else self._ports
        host = self._host
        self.mail_port = self._open("mail", known, lambda port: Mailbox(port=port, host=host, on_mail=self._mail))
        self.hook_port = self._open(
            "webhook", known, lambda port: HookReceiver(port=port, host=host, on_hook=self._hook)
        )
        if self._ports is None:
            ports = {"mail": self.mail_port, "webhook": self.hook_port}
            (self._folder / PORTS_FILE).write_text(json.dumps(ports))
        return self

    def take_over(self) -> None:
        """Points this process's mail and webhooks here."""
        settings.EMAIL_HOST, settings.EMAIL_PORT = HOST, self.mail_port
        settings.EMAIL_HOST_USER, settings.EMAIL_USE_TLS = "", False
        settings.WEBHOOK_ALLOWED_HOSTS = [*settings.WEBHOOK_ALLOWED_HOSTS, f"{HOST}:{self.hook_port}"]

    def hook_url(self, path: str) -> str:
        return f"http://{HOST}:{self.hook_port}{path}"

    def stop(self) -> None:
        self._stack.close()

    def _open(self, name: str, known: Mapping[str, int], make: Callable[[int], Any]) -> int:
        """Opens a receiver at the port it had before, else at the usual one, else at any."""
        tries = [known[name]] if name in known else [USUAL_PORTS[name], 0]
        for port in tries:
            if not _is_free(self._host, port):
                continue
            try:
                receiver = self._stack.enter_context(make(port))
            except OSError:
                continue
            return int(receiver.port)
        if self._ports is not None:
            raise CannotStart(f"Port {tries[0]} of {self._host} is taken.")
        raise CannotStart(
            f"Port {tries[0]} of {HOST}, where the {name} receiver was before, is taken. Free it; or delete "
            f"{self._folder / PORTS_FILE} and change the routes that name it."
        )

    def _mail(self, mail: ReceivedMail) -> None:
        message = mail.message
        self._keep("mail", str(message["Message-ID"]), ", ".join(mail.recipients), str(message["Subject"]), mail.text())

    def _hook(self, hook: ReceivedHook) -> None:
        try:
            kind = str(json.loads(hook.body)["type"])
        except (ValueError, KeyError, TypeError):
            kind = "?"
        self._keep("webhook", hook.headers.get("webhook-id", ""), hook.path, kind, hook.body)

    def _keep(self, channel: str, id_: str, to: str, subject: str, text: str) -> None:
        with self._lock:
            receipt = Receipt(channel, text_of(datetime.now(UTC)), id_, to, subject, text, repeat=id_ in self._seen)
            self._seen.add(id_)
            with (self._folder / FILE).open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(receipt), ensure_ascii=False) + "\n")
        self._on_receipt(receipt)


def receipts_in(folder: Path) -> list[dict[str, Any]]:
    """What has arrived so far. A last line that a kill cut short is left out: it was not answered with 200 either."""
    try:
        lines = (folder / FILE).read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return []
    found = []
    for line in lines:
        try:
            found.append(json.loads(line))
        except ValueError:
            continue
    return found


def _is_free(host: str, port: int) -> bool:
    """Whether nobody listens there. Asked first because a mail server that cannot bind leaves its loop behind."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def _remembered(folder: Path) -> dict[str, int]:
    try:
        ports = json.loads((folder / PORTS_FILE).read_text())
        return {name: int(ports[name]) for name in USUAL_PORTS}
    except FileNotFoundError:
        return {}
    except (ValueError, KeyError, TypeError) as error:
        raise CannotStart(f"{folder / PORTS_FILE} cannot be read; delete it.") from error
