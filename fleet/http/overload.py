"""What a process does when more events arrive than it can store: it refuses some before it reads them.

A view that says `sheds = True` shares one gate per process. A few of its requests are at work, a few wait for a short
while, and the rest are answered 503 with `Retry-After` at once. The threads that this leaves free serve everything
else: a flood of readings never keeps a question about readiness waiting. Nothing of a refused request was read, so
nothing of it was stored; its sender still has it.
"""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from fleet.http.metrics import SHED
from fleet.http.problems import problem_response

RETRY_S = (1, 4)
"""Senders are told different times, so that they do not all come back at once."""
DETAIL = "More events arrive than can be stored. Nothing of this request was read: keep it and send it again."


class Gate:
    """At most `at_once` inside; at most `waiting` more wait for `patience_s` until one leaves."""

    def __init__(self, *, at_once: int, waiting: int, patience_s: float) -> None:
        self._at_once, self._waiting, self._patience_s = at_once, waiting, patience_s
        self._inside = self._queued = 0
        self._changed = threading.Condition()

    def enter(self) -> bool:
        """Whether the caller may go on; whoever may has to `leave()`."""
        with self._changed:
            if self._inside >= self._at_once and not self._wait():
                return False
            self._inside += 1
            return True

    def _wait(self) -> bool:
        """Whether there was room in time."""
        if self._queued >= self._waiting:
            return False
        self._queued += 1
        give_up_at = time.monotonic() + self._patience_s
        try:
            while self._inside >= self._at_once:
                left_s = give_up_at - time.monotonic()
                if left_s <= 0 or not self._changed.wait(left_s):
                    return self._inside < self._at_once
            return True
        finally:
            self._queued -= 1

    def leave(self) -> None:
        with self._changed:
            self._inside -= 1
            self._changed.notify()


class OverloadMiddleware:
    """Asks the gate once the view is known and before anything of the request is read."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.gate = Gate(
            at_once=settings.INGEST_AT_ONCE, waiting=settings.INGEST_WAITING, patience_s=settings.INGEST_PATIENCE_S
        )

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            return self.get_response(request)
        finally:
            if getattr(request, "passed_gate", False):
                self.gate.leave()

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        if request.method != "POST" or not getattr(getattr(view, "cls", None), "sheds", False):
            return None
        if self.gate.enter():
            request.passed_gate = True  # type: ignore[attr-defined]
            return None
        SHED.inc()
        return problem_response(request, "overloaded", DETAIL, headers={"Retry-After": str(random.randint(*RETRY_S))})
