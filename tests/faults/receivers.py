"""Receivers that write every message to a file the moment it is there, and that misbehave as told."""

from __future__ import annotations

import asyncio
import json
import re
import threading
import time
from collections import Counter
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from aiosmtpd.smtp import Envelope, Session

from fleet.embedded.receivers import Answer, HookReceiver, Mailbox, ReceivedHook, ReceivedMail

NUMBER = re.compile(r"\bHB-[a-z0-9]+-\d\d\b")


class MoodyMailbox(Mailbox):
    """A mail server that may also hang or drop the connection, before or after it has kept the mail."""

    def __init__(self, **words: Any) -> None:
        super().__init__(**words)
        self.mood = "take"
        """take · hang_before · hang_after · drop_before · drop_after"""

    async def handle_DATA(self, server: Any, session: Session, envelope: Envelope) -> str:
        if self.mood.endswith("_after"):
            await super().handle_DATA(server, session, envelope)
        if self.mood.startswith("hang"):
            await asyncio.sleep(30)
        if self.mood.startswith("drop"):
            server.transport.abort()
        if self.mood != "take":
            return "421 Closing"
        return await super().handle_DATA(server, session, envelope)


class Receivers:
    """A mailbox and a webhook receiver, and the one file of what both took."""

    def __init__(self, folder: Path) -> None:
        self.file = folder / "received.jsonl"
        self.file.touch()
        self._lock = threading.Lock()
        self._stack = ExitStack()
        self.mailbox = MoodyMailbox(on_mail=self._mail)
        self.hooks = HookReceiver(on_hook=self._hook)

    def __enter__(self) -> Self:
        self._stack.enter_context(self.mailbox)
        self._stack.enter_context(self.hooks)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._stack.close()

    def _mail(self, mail: ReceivedMail) -> None:
        self._keep("mail", str(mail.message["Message-ID"]), ", ".join(mail.recipients), str(mail.message["Subject"]))

    def _hook(self, hook: ReceivedHook) -> None:
        took = "webhook" if 200 <= self.hooks.answer.status < 300 else "refused"
        self._keep(took, hook.headers.get("webhook-id", ""), hook.path, hook.body)

    def _keep(self, channel: str, id_: str, to: str, text: str) -> None:
        row = {"at": time.time(), "channel": channel, "id": id_, "to": to, "text": text}
        with self._lock, self.file.open("a") as file:
            file.write(json.dumps(row) + "\n")

    def take_all(self) -> None:
        """Well again."""
        self.mailbox.mood, self.mailbox.refuse_data, self.mailbox.refuse_recipient = "take", "", ""
        self.hooks.answer = Answer()

    def rows(self, *, refused: bool = False) -> list[dict[str, Any]]:
        """What has arrived, in order; with *refused* also what the receiver answered with an error."""
        found = [json.loads(line) for line in self.file.read_text().splitlines()]
        return [row for row in found if refused or row["channel"] != "refused"]

    def told(self, units: Iterable[str], *, channel: str | None = None) -> dict[str, float]:
        """When each of these units was first named in a message (Unix time); units of no message are left out."""
        wanted, first = set(units), dict[str, float]()
        for row in self.rows():
            if channel not in (None, row["channel"]):
                continue
            for number in wanted.intersection(NUMBER.findall(row["text"])):
                first.setdefault(number, row["at"])
        return first

    def repeats(self, units: Iterable[str]) -> int:
        """Messages about these units that arrived again under an id that was there before."""
        wanted = set(units)
        ids = Counter(row["id"] for row in self.rows() if wanted.intersection(NUMBER.findall(row["text"])))
        return sum(times - 1 for times in ids.values())

    def tellings(self, units: Iterable[str]) -> Counter[str]:
        """How many different messages (by id) named each unit."""
        wanted = set(units)
        named = {
            (number, row["id"]) for row in self.rows() for number in wanted.intersection(NUMBER.findall(row["text"]))
        }
        return Counter(number for number, _ in named)
