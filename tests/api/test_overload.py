"""What a sender is told by a process that has too much to do, and by one that has no room left."""

from __future__ import annotations

import errno
import sqlite3
from datetime import datetime
from typing import Any

import pytest
from django.db import OperationalError

from fleet.http.problems import describe
from fleet.models import Fleet, Reading, Role
from tests import factories
from tests.conftest import Client

pytestmark = pytest.mark.django_db


def test_events_beyond_what_fits_are_refused_unread_and_nothing_else_is(
    tarn: Fleet, client_of: Client, settings: Any, now: datetime
) -> None:
    factories.make_unit(tarn)
    settings.INGEST_AT_ONCE, settings.INGEST_WAITING = 0, 0
    client = client_of(tarn, Role.INTEGRATOR)
    refused = client.post("/api/v1/events/", [factories.reading(now)], format="json")
    assert refused.status_code == 503
    assert refused.json()["type"] == "/docs/problems/overloaded/"
    assert 1 <= int(refused["Retry-After"]) <= 4
    assert not Reading.objects.across_fleets().exists()
    assert client.get("/api/v1/units/HB-104/").status_code == 200


def test_a_request_that_fails_gives_its_place_back(
    tarn: Fleet, client_of: Client, settings: Any, now: datetime
) -> None:
    factories.make_unit(tarn)
    settings.INGEST_AT_ONCE, settings.INGEST_WAITING = 1, 0
    client = client_of(tarn, Role.INTEGRATOR)
    statuses = [client.post("/api/v1/events/", body, format="json").status_code for body in ({}, {}, [])]
    assert 503 not in statuses
    assert client.post("/api/v1/events/", [factories.reading(now)], format="json").status_code == 207


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
