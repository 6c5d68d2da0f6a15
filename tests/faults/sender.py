"""A sender of events as it should be: it keeps each batch until the service has answered for every item of it."""

from __future__ import annotations

import http.client
import json
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from fleet.embedded.receivers import HOST
from tests import factories

Event = dict[str, Any]


def blocking(unit: str, at: datetime | None = None) -> Event:
    """A reading that blocks the unit's trip: the set point is below what the load needs."""
    return factories.reading(at or datetime.now(UTC), unit=unit, set_point_c=2.0)


def plain(unit: str, at: datetime) -> Event:
    return factories.reading(at, unit=unit)


@dataclass(slots=True)
class Sender:
    """One token's events. `answered` counts items by what the service said of them, the last word for each."""

    port: int
    token: str
    pause_s: float = 0.2
    statuses: Counter[int] = field(default_factory=Counter)
    answered: dict[str, str] = field(default_factory=dict)
    gave_up: list[str] = field(default_factory=list)

    def post(self, events: list[Event], *, timeout_s: float = 15.0) -> tuple[int, dict[str, str], dict[str, Any]]:
        """One attempt: status, headers, body. Status 0: the connection broke before an answer."""
        connection = http.client.HTTPConnection(HOST, self.port, timeout=timeout_s)
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        try:
            connection.request("POST", "/api/v1/events/", json.dumps(events).encode(), headers)
            answer = connection.getresponse()
            body = answer.read()
            status, fields = answer.status, {name.title(): value for name, value in answer.headers.items()}
        except (OSError, http.client.HTTPException):
            status, fields, body = 0, {}, b""
        finally:
            connection.close()
        self.statuses[status] += 1
        document = json.loads(body) if body[:1] == b"{" else {}
        if status == 207:
            self._note(events, document)
        return status, fields, document

    def _note(self, events: list[Event], document: dict[str, Any]) -> None:
        said = {item["index"]: item["status"] for item in document["items"]}
        for index, event in enumerate(events):
            self.answered[event["id"]] = said.get(index, "accepted")

    def deliver(self, events: list[Event], *, within_s: float = 60.0) -> dict[str, Any] | None:
        """Repeats the batch until it is answered with 207; None, and counted, when there was no time left."""
        give_up_at = time.monotonic() + within_s
        while time.monotonic() < give_up_at:
            status, fields, document = self.post(events)
            if status == 207:
                return document
            if status not in (0, 429, 500, 503, 507):
                raise AssertionError(f"{status}: {document}")
            time.sleep(min(float(fields.get("Retry-After", self.pause_s)), self.pause_s))
        self.gave_up += [event["id"] for event in events]
        return None

    def count(self, *statuses: str) -> int:
        return sum(status in statuses for status in self.answered.values())

    @property
    def taken(self) -> int:
        """Items the service has answered for as stored."""
        return self.count("accepted", "late", "duplicate")


class Traffic:
    """Plain readings of some units, one batch after the other, in a thread of its own, from `with` to its end."""

    def __init__(
        self, sender: Sender, units: list[str], *, every_s: float = 0.05, start: datetime | None = None
    ) -> None:
        self.sender, self._units, self._every_s = sender, units, every_s
        self._at = start or datetime.now(UTC) - timedelta(hours=3)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="traffic", daemon=True)
        self.error: Exception | None = None
        self.longest_s = 0.0

    def __enter__(self) -> Traffic:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stopping.set()
        self._thread.join(90)
        if self.error is not None:
            raise self.error

    def _run(self) -> None:
        while not self._stopping.wait(self._every_s):
            self._at += timedelta(seconds=1)
            begun = time.monotonic()
            try:
                self.sender.deliver([plain(unit, self._at) for unit in self._units], within_s=80)
            except Exception as error:  # noqa: BLE001 - raised where the test waits for this thread
                self.error = error
                return
            self.longest_s = max(self.longest_s, time.monotonic() - begun)
