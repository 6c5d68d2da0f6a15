"""Clients that ask for the readiness of known trips all along, and how long each answer took."""

from __future__ import annotations

import http.client
import json
import statistics
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from fleet.embedded.receivers import HOST

PAUSE_S = 0.08
"""Between two questions of one client: all together stay below the quota of one token (3,000 a minute)."""


@dataclass(frozen=True, slots=True)
class Asked:
    at: float
    """When it was asked (monotonic)."""
    seconds: float
    trip: str
    status: int
    said: str
    """Unit, verdict and findings: what does not move by itself while nothing happens to the unit."""


@dataclass(frozen=True, slots=True)
class Latency:
    median_ms: float
    p95_ms: float

    @classmethod
    def of(cls, asked: list[Asked]) -> Latency:
        took_ms = sorted(one.seconds * 1000 for one in asked)
        return cls(statistics.median(took_ms), took_ms[int(len(took_ms) * 0.95)])

    def __str__(self) -> str:
        return f"{self.median_ms:.0f} ms (p95 {self.p95_ms:.0f})"


@dataclass(slots=True)
class Askers:
    """From `with` to its end; each has one connection and goes through all trips in turn."""

    port: int
    token: str
    trips: list[str]
    count: int = 4
    asked: list[Asked] = field(default_factory=list)
    _stopping: threading.Event = field(default_factory=threading.Event)
    _threads: list[threading.Thread] = field(default_factory=list)

    def __enter__(self) -> Askers:
        self._threads = [threading.Thread(target=self._run, args=(i,), daemon=True) for i in range(self.count)]
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stopping.set()
        for thread in self._threads:
            thread.join(30)

    def during(self, work: Callable[[], Any]) -> list[Asked]:
        """What was asked while *work* ran."""
        begun = time.monotonic()
        work()
        ended = time.monotonic()
        return [one for one in list(self.asked) if begun <= one.at < ended]

    def _run(self, first: int) -> None:
        connection = http.client.HTTPConnection(HOST, self.port, timeout=30)
        turn = first
        while not self._stopping.wait(PAUSE_S):
            self.asked.append(self._ask(connection, self.trips[turn % len(self.trips)]))
            turn += 1
        connection.close()

    def _ask(self, connection: http.client.HTTPConnection, trip: str) -> Asked:
        begun = time.monotonic()
        try:
            headers = {"Authorization": f"Bearer {self.token}"}
            connection.request("GET", f"/api/v1/trips/{trip}/readiness/", headers=headers)
            answer = connection.getresponse()
            status, body = answer.status, answer.read()
        except (OSError, http.client.HTTPException):
            connection.close()
            status, body = 0, b""
        took_s = time.monotonic() - begun
        return Asked(begun, took_s, trip, status, said_in(json.loads(body)) if status == 200 else "")


def said_in(document: dict[str, Any]) -> str:
    findings = [(finding["check"], finding["outcome"]) for finding in document["findings"]]
    return json.dumps([document["unit"], document["verdict"], sorted(findings)])
