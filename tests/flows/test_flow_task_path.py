"""The bell wakes a real Celery worker, and the worker's task, not the sweep, assesses the trip and opens the hold.

Runs on the broker of the settings: in-process by default, Redis in the second pass.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
from celery.contrib.testing.worker import start_worker
from django.db import connections

from fleet.bell import breaker
from fleet.celery import app
from fleet.metrics import ASSESSED_BY, BELL
from fleet.models import Assessment, Fleet, Hold, Role
from tests import factories
from tests.conftest import Client
from tests.waiting import wait_for

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def worker(settings: Any, transactional_db: None) -> Iterator[None]:
    """A Celery worker with its own thread and connection, on an empty queue."""
    settings.BELL = "auto"
    breaker.reset()
    app.control.purge()
    with start_worker(app, pool="solo", concurrency=1, perform_ping_check=False, queues=["assess"], loglevel="WARNING"):
        yield
    connections.close_all()


def done_by(woken_by: str) -> float:
    return float(ASSESSED_BY.labels(woken_by=woken_by)._value.get())


def test_an_event_makes_the_worker_open_the_hold(
    worker: None, tarn: Fleet, client_of: Client, post_events: Callable[..., dict[str, Any]], now: datetime
) -> None:
    factories.potato()
    factories.make_unit(tarn)
    before = {name: done_by(name) for name in ("task", "sweep")}
    rung = BELL.labels(outcome="rung")._value.get()
    dispatcher = client_of(tarn, Role.DISPATCHER)
    response = dispatcher.post("/api/v1/trips/", factories.trip_body(now), format="json")
    assert response.status_code == 201, response.content
    wait_for("the assessment", lambda: Assessment.objects.for_fleet(tarn).exists(), within_s=20)
    time.sleep(2)  # the task that assessed the new trip has ended: what follows needs a bell of its own
    post_events(factories.reading(now, set_point_c=2.0))
    wait_for("the hold", lambda: Hold.objects.for_fleet(tarn).filter(state="open").exists(), within_s=20)
    assert BELL.labels(outcome="rung")._value.get() >= rung + 2
    assert done_by("task") > before["task"]
    assert done_by("sweep") == before["sweep"]
    assert set(Assessment.objects.for_fleet(tarn).values_list("trigger", flat=True)) == {"worker"}
    refused = dispatcher.put(
        "/api/v1/trips/T-1/assignment/", {"unit": "HB-104"}, format="json", HTTP_IF_MATCH=response["ETag"]
    )
    assert refused.status_code == 409
    problem = refused.json()
    assert problem["type"] == "/docs/problems/dispatch-blocked/"
    assert [finding["check"] for finding in problem["findings"]] == ["fleet.set_point"]
    assert problem["holds"][0]["state"] == "open"
