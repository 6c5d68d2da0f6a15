"""What a process does when more events arrive than it can store: it refuses some before it reads them.

The gate stands before Django: there a refusal costs an eighth of what it would cost behind the middleware, and no lines
of the log. A view that says `sheds = True` shares one gate per process. A few of its requests are at work, a few wait
for a short while, and the rest are answered 503 with `Retry-After` at once. The threads that this leaves free serve
everything else: a flood of readings never keeps a question about readiness waiting. Nothing of a refused request was
looked at, so nothing of it was stored; its sender still has it.
"""

from __future__ import annotations

import random
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Any

import orjson
from django.conf import settings
from django.http import Http404, HttpResponse
from django.urls import resolve

from fleet.http.context import begin, end, request_id_from
from fleet.http.metrics import SHED, observe_request
from fleet.http.middleware import protect
from fleet.http.problems import PROBLEM_JSON, problem_body

RETRY_S = (1, 4)
"""Senders are told different times, so that they do not all come back at once."""
DETAIL = "More events arrive than can be stored. Nothing of this request was stored: keep it and send it again."


class Gate:
    """At most `at_once` inside; at most `waiting` more wait for `patience_s`, and whoever waits goes first."""

    def __init__(self, *, at_once: int, waiting: int, patience_s: float) -> None:
        self._at_once, self._waiting, self._patience_s = at_once, waiting, patience_s
        self._inside = 0
        self._turns: deque[threading.Event] = deque()
        self._lock = threading.Lock()

    def enter(self) -> bool:
        """Whether the caller may go on; whoever may has to `leave()`."""
        with self._lock:
            if self._inside < self._at_once:
                self._inside += 1
                return True
            if len(self._turns) >= self._waiting:
                return False
            turn = threading.Event()
            self._turns.append(turn)
        if turn.wait(self._patience_s):
            return True
        with self._lock:
            if not turn.is_set():
                self._turns.remove(turn)
            return turn.is_set()

    def leave(self) -> None:
        """Hands the place to whoever has waited longest."""
        with self._lock:
            if self._turns:
                self._turns.popleft().set()
            else:
                self._inside -= 1


Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class Gatekeeper:
    """A WSGI application that asks the gate first, before anything of the request is read."""

    def __init__(self, application: Application) -> None:
        self._application = application
        self._gate = Gate(
            at_once=settings.INGEST_AT_ONCE, waiting=settings.INGEST_WAITING, patience_s=settings.INGEST_PATIENCE_S
        )

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        route = shedding_route(environ["PATH_INFO"]) if environ["REQUEST_METHOD"] == "POST" else None
        if route is None:
            return self._application(environ, start_response)
        if not self._gate.enter():
            return _refuse(environ, start_response, route)
        try:
            return self._application(environ, start_response)
        finally:
            self._gate.leave()


@lru_cache(maxsize=128)
def shedding_route(path: str) -> str | None:
    """The route of this path if its view is behind the gate."""
    try:
        found = resolve(path)
    except Http404:
        return None
    return f"/{found.route}" if getattr(getattr(found.func, "cls", None), "sheds", False) else None


def _refuse(environ: dict[str, Any], start_response: Callable[..., Any], route: str) -> Iterable[bytes]:
    started = time.perf_counter()
    request_id = request_id_from(environ.get("HTTP_X_REQUEST_ID", ""))
    token = begin(request_id)
    try:
        body = problem_body("overloaded", DETAIL, instance=environ["PATH_INFO"])
    finally:
        end(token)
    headers = {"Retry-After": str(random.randint(*RETRY_S)), "X-Request-ID": request_id}
    answer = HttpResponse(orjson.dumps(body), status=body["status"], content_type=PROBLEM_JSON, headers=headers)
    protect(answer)
    SHED.inc()
    observe_request(method="POST", route=route, status=answer.status_code, seconds=time.perf_counter() - started)
    start_response(f"{answer.status_code} {answer.reason_phrase}", list(answer.items()))
    return [answer.content]
