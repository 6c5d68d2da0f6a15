"""How many statements each hot path may use: a reviewed data file, so that a change of cost is seen in review.

Statements that open, close or save a transaction, and the look at the database's clock, are not counted.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext

from fleet.models import Fleet, Member, Role, Trip
from fleet.readiness.service import assess_due
from tests import factories
from tests.conftest import Client
from tests.db.conftest import plan, post

BUDGET_FILE = Path(__file__).with_name("sql_counts.json")
BUDGET: dict[str, int] = json.loads(BUDGET_FILE.read_text())[connection.vendor]
FRAME = ("BEGIN", "COMMIT", "ROLLBACK", "SAVEPOINT", "RELEASE", "SELECT CLOCK_TIMESTAMP()", "PRAGMA")


def statements(call: Callable[[], Any]) -> int:
    with CaptureQueriesContext(connection) as captured:
        call()
    said = [query["sql"].strip().upper() for query in captured]
    return sum(not sql.startswith(FRAME) or "FLEET_" in sql for sql in said)


@pytest.fixture
def yard(tarn: Fleet, now: datetime) -> Member:
    """Fifty units that have just reported, and T-1 to T-20, each with its own unit."""
    factories.potato()
    for number in range(50):
        factories.make_unit(tarn, f"HB-{number}")
    dispatcher = factories.make_member(tarn, Role.DISPATCHER)
    for number in range(1, 21):
        plan(tarn, dispatcher, now, reference=f"T-{number}", unit=f"HB-{number}")
    post(tarn, *[factories.reading(now, unit=f"HB-{number}") for number in range(50)], now=now)
    return dispatcher


def test_hot_paths_stay_within_their_budget(yard: Member, tarn: Fleet, client_of: Client, now: datetime) -> None:
    dispatcher, integrator = client_of(tarn, Role.DISPATCHER), client_of(tarn, Role.INTEGRATOR)
    events = "/api/v1/events/"

    def send(count: int, units: int, second: int) -> Callable[[], Any]:
        batch = [
            factories.reading(now + timedelta(seconds=second + i // units), unit=f"HB-{i % units}")
            for i in range(count)
        ]
        return lambda: integrator.post(events, batch, format="json")

    def due(count: int) -> None:
        ids = Trip.objects.for_fleet(tarn).order_by("id").values_list("pk", flat=True)[:count]
        Trip.objects.for_fleet(tarn).update(assess_due_at=now + timedelta(hours=1))
        Trip.objects.for_fleet(tarn).filter(pk__in=list(ids)).update(assess_due_at=now - timedelta(seconds=9))

    due(20)
    assess_due()
    for client in (dispatcher, integrator):
        client.get("/api/v1/policy/")  # a token's first use in five minutes is written down
    measured: dict[str, int] = {}

    def measure(name: str, call: Callable[[], Any]) -> None:
        measured[name] = statements(call)

    measure("POST /api/v1/events/ (1 reading)", send(1, 1, 1))
    measure("POST /api/v1/events/ (200 readings of 50 units)", send(200, 50, 10))
    answer = "/api/v1/trips/T-1/readiness/"
    measure(f"GET {answer} (fresh)", lambda: dispatcher.get(answer))
    measure(f"GET {answer} (unchanged)", lambda: dispatcher.get(answer))
    due(1)
    measure("assess_due (1 trip)", assess_due)
    due(20)
    measure("assess_due (20 trips)", assess_due)
    ranking = "/api/v1/trips/T-1/candidates/"
    for count, words in ((1, "1 unit"), (30, "30 units")):
        numbers = [f"HB-{number}" for number in range(count)]
        measure(
            f"POST {ranking} ({words})",
            lambda numbers=numbers: dispatcher.post(ranking, {"units": numbers}, format="json"),
        )
    measure("GET /api/v1/trips/ (20 trips)", lambda: dispatcher.get("/api/v1/trips/"))
    measure("GET /api/v1/units/ (50 units)", lambda: dispatcher.get("/api/v1/units/"))
    measure(
        "PUT /api/v1/trips/T-1/assignment/",
        lambda: dispatcher.put("/api/v1/trips/T-1/assignment/", {"unit": "HB-1"}, format="json", HTTP_IF_MATCH="*"),
    )
    blocked = [factories.reading(now + timedelta(minutes=1), unit=f"HB-{n}", set_point_c=2.0) for n in range(1, 21)]
    post(tarn, *blocked, now=now)
    due(20)
    assess_due()  # opens the holds
    due(1)
    measure("assess_due (1 held trip)", assess_due)
    due(20)
    measure("assess_due (20 held trips)", assess_due)
    under_way = Trip.objects.for_fleet(tarn).filter(state=Trip.State.PLANNED)
    under_way.update(
        state=Trip.State.UNDER_WAY, assigned_unit=F("planned_unit"), departed_at=now, version=F("version") + 1
    )  # fmt: skip
    due(20)
    assess_due()  # first look at the readings of the last while
    due(1)
    measure("assess_due (1 trip under way)", assess_due)
    due(20)
    measure("assess_due (20 trips under way)", assess_due)
    assert measured == BUDGET, json.dumps(measured, indent=2)
    for words in ("trip{s}", "held trip{s}", "trip{s} under way"):
        one, many = (f"assess_due ({n} {words.format(s='s' * (n > 1))})" for n in (1, 20))
        assert measured[one] == measured[many], "a batch costs what one trip costs"
