"""What database tests share: a planned trip with a warm and fresh unit, and threads with their own connection."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime
from typing import Any

import orjson
import pytest
from django.db import connection

from fleet.ingest.batch import BatchAnswer
from fleet.ingest.parse import split_batch
from fleet.ingest.service import ingest
from fleet.models import Fleet, Member, Role, Trip
from fleet.trips.serializers import TripInput
from fleet.trips.service import create_trip
from tests import factories


def post(fleet: Fleet, *events: dict[str, Any], now: datetime) -> BatchAnswer:
    """Ingests events as the endpoint does, without HTTP."""
    return ingest(fleet.pk, split_batch(orjson.dumps(list(events))), now=now)


def plan(fleet: Fleet, by: Member, now: datetime, **changes: Any) -> Trip:
    """Creates a trip through its serializer and service."""
    serializer = TripInput(data=factories.trip_body(now, **changes))
    serializer.is_valid(raise_exception=True)
    return create_trip(fleet, serializer.validated_data, by=by, now=now)


@pytest.fixture
def dispatcher(tarn: Fleet) -> Member:
    return factories.make_member(tarn, Role.DISPATCHER)


@pytest.fixture
def manager(tarn: Fleet) -> Member:
    return factories.make_member(tarn, Role.MANAGER)


@pytest.fixture
def warm_trip(tarn: Fleet, dispatcher: Member, now: datetime) -> Trip:
    """T-1 with HB-104, which has just reported that it is on, warm and full."""
    factories.potato()
    factories.make_unit(tarn)
    trip = plan(tarn, dispatcher, now)
    post(tarn, factories.reading(now), now=now)
    return trip


def in_threads(*calls: Callable[[], Any]) -> list[Any]:
    """Runs the calls at the same time, each with its own connection; returns results or exceptions in order."""
    results: list[Any] = [None] * len(calls)
    barrier = threading.Barrier(len(calls))

    def run(index: int, call: Callable[[], Any]) -> None:
        try:
            barrier.wait(timeout=10)
            results[index] = call()
        except Exception as error:  # noqa: BLE001 - the test looks at it
            results[index] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(index, call)) for index, call in enumerate(calls)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert not any(thread.is_alive() for thread in threads)
    return results
