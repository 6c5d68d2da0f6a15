"""What a sender is told by a process that has too much to do, and by one that has no room left."""

from __future__ import annotations

import errno
import json
import sqlite3
from typing import Any

import pytest
from django.core.handlers.wsgi import WSGIHandler
from django.db import OperationalError
from django.test import RequestFactory
from prometheus_client import REGISTRY

from fleet.http.overload import Gatekeeper, shedding_route
from fleet.http.problems import describe


def post_events(application: Any, body: bytes, token: str) -> tuple[str, dict[str, str], dict[str, Any]]:
    """A batch through WSGI, where the gate stands."""
    environ = RequestFactory().post("/api/v1/events/", body, content_type="application/json").environ
    environ |= {"HTTP_AUTHORIZATION": f"Bearer {token}", "HTTP_X_REQUEST_ID": "batch-7"}
    started: list[Any] = []
    pieces = application(environ, lambda status, headers, error=None: started.extend((status, dict(headers))))
    return started[0], started[1], json.loads(b"".join(pieces))


def test_events_beyond_what_fits_are_refused_unread(settings: Any) -> None:
    settings.INGEST_AT_ONCE, settings.INGEST_WAITING = 0, 0
    before = REGISTRY.get_sample_value("warmgate_shed_total") or 0
    status, headers, said = post_events(Gatekeeper(WSGIHandler()), b"not even JSON", "anybody")
    assert status == "503 Service Unavailable"
    assert (said["type"], said["instance"]) == ("/docs/problems/overloaded/", "/api/v1/events/")
    assert said["request_id"] == headers["X-Request-ID"] == "batch-7"
    assert 1 <= int(headers["Retry-After"]) <= 4
    assert headers["Content-Type"] == "application/problem+json"
    assert REGISTRY.get_sample_value("warmgate_shed_total") == before + 1


def test_only_events_stand_before_the_gate() -> None:
    assert shedding_route("/api/v1/events/") == "/api/v1/events/"
    assert shedding_route("/api/v1/trips/") is None
    assert shedding_route("/nowhere/") is None


def test_a_request_that_fails_gives_its_place_back(settings: Any) -> None:
    settings.INGEST_AT_ONCE, settings.INGEST_WAITING = 1, 0

    def broken(environ: dict[str, Any], start_response: Any) -> list[bytes]:
        raise RuntimeError("not refused")

    application = Gatekeeper(broken)
    for _ in range(3):
        with pytest.raises(RuntimeError, match="not refused"):
            post_events(application, b"[]", "anybody")


def full_sqlite() -> Exception:
    with sqlite3.connect(":memory:") as connection:
        connection.execute("PRAGMA max_page_count = 2")
        try:
            connection.executescript("CREATE TABLE t (x); INSERT INTO t VALUES (zeroblob(99999));")
        except sqlite3.OperationalError as error:
            wrapped = OperationalError(*error.args)
            wrapped.__cause__ = error
            return wrapped
    raise AssertionError("two pages were enough")


@pytest.mark.parametrize(
    "error", [full_sqlite(), OSError(errno.ENOSPC, "No space left on device"), OSError(errno.EDQUOT, "Quota")]
)
def test_a_full_disk_is_called_by_its_name(error: Exception) -> None:
    code, detail, _, _ = describe(error)
    assert code == "storage-full"
    assert "Nothing was stored" in detail
