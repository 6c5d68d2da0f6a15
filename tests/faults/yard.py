"""One fleet and what its people and gateways do with the service, counted by what they were answered."""

from __future__ import annotations

import http.client
import json
import os
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from io import BytesIO
from typing import Any

from PIL import Image

from fleet.embedded.receivers import HOST
from inspections.builtin import built_in_documents
from tests.faults.sender import Event, plain

STORAGE_FULL = {f"{what}: 507 storage-full, again in 60 s" for what in ("readings", "inspections", "photos")}
"""What a yard says of the answers when there is no room for what it brings."""
SIZES = (500, 50, 5, 1)
"""Readings of a batch: the smaller ones take up what the larger ones left."""
MOST = 500
SIDE_PX = 300


def _until_refused(post: Callable[[], bool]) -> None:
    for _ in range(MOST):
        if not post():
            return
    raise AssertionError("the disk never became full")


@dataclass(slots=True)
class Yard:
    """`taken` counts what was stored by the service's own word: readings, inspections, photos."""

    port: int
    fleet: dict[str, Any]
    taken: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    """What was refused, in which words: `photos: 507 storage-full, again in 60 s`."""
    refused_events: list[list[Event]] = field(default_factory=list)
    _last_report: int = 0
    _at: datetime = field(default_factory=lambda: datetime.now(UTC) - timedelta(hours=5))

    def post_events(self, events: list[Event]) -> bool:
        """Whether they were taken."""
        body = json.dumps(events).encode()
        status, answer = self._post("readings", "events", body, token="integrator")
        if status == 207:
            self.taken["readings"] += json.loads(answer)["accepted"]
        else:
            self.refused_events.append(events)
        return status == 207

    def post_readings(self, count: int) -> bool:
        """New ones of all units, each at a time of its own."""
        units = self.fleet["units"]
        self._at += timedelta(seconds=1)
        step = timedelta(milliseconds=1)
        return self.post_events([plain(units[i % len(units)], self._at + i * step) for i in range(count)])

    def fill_with_readings(self) -> None:
        """Until not even one more is taken."""
        for size in SIZES:
            _until_refused(lambda size=size: self.post_readings(size))

    def fill_with_inspections(self) -> None:
        _until_refused(self.inspect)

    def fill_with_photos(self) -> None:
        _until_refused(self.photograph)

    def send_again(self) -> bool:
        """Everything that was refused of events, as their sender would; whether all was taken."""
        kept, self.refused_events = self.refused_events, []
        taken = [self.post_events(events) for events in kept]
        return all(taken)

    def inspect(self) -> bool:
        """A whole inspection of the last unit, signed at once; whether it was taken."""
        document = next(one for one in built_in_documents() if one["key"] == "pre-trip")
        keys = [item["key"] for group in document["groups"] for item in group["items"]]
        seen = [{"item": key, "outcome": "sound"} for key in keys]
        signature = {"reviewed": self._last_report} if self._last_report else {}
        body = {"sheet": "pre-trip", "unit": self.fleet["units"][-1], "observations": seen, "signature": signature}
        status, answer = self._post("inspections", "inspections", json.dumps(body).encode())
        if status == 201:
            self.taken["inspections"] += 1
            self._last_report = json.loads(answer)["id"]
        return status == 201

    def photograph(self) -> bool:
        """A picture that does not become smaller, of about 150 KiB; whether it was taken."""
        out = BytesIO()
        Image.frombytes("RGB", (SIDE_PX, SIDE_PX), os.urandom(SIDE_PX * SIDE_PX * 3)).save(out, "JPEG", quality=95)
        status, _ = self._post("photos", "photos", out.getvalue(), kind="image/jpeg")
        self.taken["photos"] += status == 201
        return status == 201

    def reads(self) -> dict[str, int]:
        """Statuses of what is read: lists, stored answers, and answers that have to be made first."""
        first, *others = self.fleet["units"]
        paths = [f"{name}/" for name in ("trips", "units", "holds", "inspections", "photos")]
        paths += [f"trips/T-{i}/readiness/" for i in range(len(others) + 1)]
        paths += [f"trips/T-0/readiness/?unit={number}" for number in others]
        return {path: self._call("GET", path)[0] for path in [*paths, f"units/{first}/"]}

    def _post(self, what: str, path: str, body: bytes, *, kind: str = "application/json",
              token: str = "manager") -> tuple[int, bytes]:  # fmt: skip
        status, again_s, answer = self._call("POST", f"{path}/", body, kind, token)
        if status >= 400:
            slug = json.loads(answer)["type"].rstrip("/").rpartition("/")[2]
            self.refused[f"{what}: {status} {slug}, again in {again_s} s"] += 1
        return status, answer

    def _call(self, method: str, path: str, body: bytes | None = None, kind: str = "application/json",
              token: str = "manager") -> tuple[int, str, bytes]:  # fmt: skip
        connection = http.client.HTTPConnection(HOST, self.port, timeout=30)
        headers = {"Authorization": f"Bearer {self.fleet[token]}", "Content-Type": kind}
        try:
            connection.request(method, f"/api/v1/{path}", body, headers)
            answer = connection.getresponse()
            return answer.status, answer.headers.get("Retry-After", ""), answer.read()
        finally:
            connection.close()
