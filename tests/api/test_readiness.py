"""Readiness over HTTP: the stored answer while it holds, a fresh one when it does not, and the history of both."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from fleet.models import Assessment, Fleet, Role, Trip
from fleet.readiness.registry import checks
from tests import factories
from tests.conftest import Client
from tests.factories import reading, trip_body

pytestmark = pytest.mark.django_db
URL = "/api/v1/trips/T-1/readiness/"
MIN = timedelta(minutes=1)
Post = Callable[..., dict[str, Any]]


@pytest.fixture
def dispatcher(client_of: Client, tarn: Fleet, now: datetime, post_events: Post) -> APIClient:
    factories.potato()
    factories.make_unit(tarn)
    client = client_of(tarn, Role.DISPATCHER)
    assert client.post("/api/v1/trips/", trip_body(now), format="json").status_code == 201
    post_events(reading(now))
    return client


def test_the_answer_has_every_check_and_what_the_contract_names(dispatcher: APIClient) -> None:
    answer = dispatcher.get(URL).json()
    assert [finding["check"] for finding in answer["findings"]] == checks.ids()
    assert set(answer) == {
        "trip", "unit", "phase", "verdict", "released", "score", "score_se", "score_causes", "computed_at",
        "valid_until", "versions", "findings", "forecast", "holds", "caution", "not_checked",
    }  # fmt: skip
    assert set(answer["findings"][0]) == {
        "check", "outcome", "message", "measured", "required", "unit", "margin", "due_at", "source", "subjects",
        "remedy",
    }  # fmt: skip
    assert {
        "worst_hour_at",
        "heat_needed_kw",
        "heat_available_kw",
        "capacity_ratio",
        "preheat_h",
        "fuel_l",
        "coldest_edge_c",
        "coldest_edge_at",
        "damage_after_h",
        "damage_after_worst_at",
    } <= set(answer["forecast"])
    assert all(finding["message"] and finding["source"] for finding in answer["findings"])
    assert answer["caution"]
    assert answer["not_checked"]


def test_an_unchanged_answer_is_the_stored_one_and_costs_two_statements(dispatcher: APIClient) -> None:
    first = dispatcher.get(URL).json()
    with CaptureQueriesContext(connection) as captured:
        again = dispatcher.get(URL)
    assert again.json() == first
    assert len(statements(captured)) <= 2, statements(captured)
    assert Assessment.objects.across_fleets().count() == 1


def test_a_fresh_answer_costs_five_statements_with_its_insert(dispatcher: APIClient) -> None:
    with CaptureQueriesContext(connection) as captured:
        dispatcher.get(URL)
    assert len(statements(captured)) <= 5, statements(captured)
    assert sum("INSERT" in sql for sql in statements(captured)) == 1


def statements(captured: CaptureQueriesContext) -> list[str]:
    """Statements that touch rows, authentication included."""
    framing = ("BEGIN", "COMMIT", "SAVEPOINT", "RELEASE")
    return [query["sql"] for query in captured if not query["sql"].startswith(framing)]


def put_ambient(client: APIClient, now: datetime) -> None:
    forecast = {"ambient": trip_body(now)["ambient"], "ambient_issued_at": factories.instant(now)}
    assert client.put("/api/v1/trips/T-1/ambient/", forecast, format="json", HTTP_IF_MATCH="*").status_code == 200


MOVES: dict[str, Callable[..., Any]] = {
    "a reading": lambda client, boss, post, now: post(reading(now + MIN)),
    "a fault": lambda client, boss, post, now: post(factories.fault(now, "x-1")),
    "the trip": lambda client, boss, post, now: client.patch(
        "/api/v1/trips/T-1/", {"help": None}, format="json", HTTP_IF_MATCH="*"
    ),
    "the forecast": lambda client, boss, post, now: put_ambient(client, now),
    "the policy": lambda client, boss, post, now: boss.patch(
        "/api/v1/policy/", {"score_floor": 91.0}, format="json", HTTP_IF_MATCH="*"
    ),
    "the unit": lambda client, boss, post, now: boss.patch(
        "/api/v1/units/HB-104/", {"built_on": "2020-01-01"}, format="json", HTTP_IF_MATCH="*"
    ),
    "the unit model": lambda client, boss, post, now: boss.patch(
        "/api/v1/unit-models/box-8/", {"ageing_per_y": 0.01}, format="json", HTTP_IF_MATCH="*"
    ),
    "another trip of the unit": lambda client, boss, post, now: client.post(
        "/api/v1/trips/", trip_body(now, reference="T-2"), format="json"
    ),
}


@pytest.mark.parametrize("move", MOVES.values(), ids=MOVES)
def test_whatever_an_answer_was_made_from_moves_its_versions(
    dispatcher: APIClient, tarn: Fleet, client_of: Client, post_events: Post, now: datetime, move: Callable[..., Any]
) -> None:
    before = dispatcher.get(URL).json()["versions"]
    move(dispatcher, client_of(tarn, Role.MANAGER), post_events, now)
    assert dispatcher.get(URL).json()["versions"] != before


def test_an_answer_whose_time_is_up_is_made_again_and_confirmed_when_it_says_the_same(
    dispatcher: APIClient, tarn: Fleet
) -> None:
    first = dispatcher.get(URL).json()
    row = Assessment.objects.for_fleet(tarn).get()
    Assessment.objects.for_fleet(tarn).update(valid_until=row.computed_at - MIN)
    again = dispatcher.get(URL).json()
    assert again["computed_at"] > first["computed_at"]
    kept = Assessment.objects.for_fleet(tarn).get()
    assert (kept.computed_at, kept.confirmed_at > row.confirmed_at) == (row.computed_at, True)
    assert kept.valid_until > kept.confirmed_at


def test_the_history_tells_why_it_was_ready_then(dispatcher: APIClient, post_events: Post, now: datetime) -> None:
    dispatcher.get(URL)
    post_events(reading(now + MIN, set_point_c=2.0))
    dispatcher.get(URL)
    items = dispatcher.get("/api/v1/trips/T-1/assessments/").json()["items"]
    assert [(item["verdict"], item["trigger"]) for item in items] == [("blocked", "read"), ("conditional", "read")]
    assert items[0]["id"] > items[1]["id"]
    assert [finding["outcome"] for finding in items[0]["findings"] if finding["check"] == "fleet.set_point"] == [
        "block"
    ]


def test_a_reading_of_readiness_opens_no_hold(dispatcher: APIClient, post_events: Post, now: datetime) -> None:
    post_events(reading(now + MIN, set_point_c=2.0))
    answer = dispatcher.get(URL).json()
    assert (answer["verdict"], answer["holds"]) == ("blocked", [])


def test_another_unit_may_be_asked_for(dispatcher: APIClient, tarn: Fleet, post_events: Post, now: datetime) -> None:
    factories.make_unit(tarn, "HB-2")
    answer = dispatcher.get(f"{URL}?unit=HB-2").json()
    assert (answer["unit"], answer["verdict"]) == ("HB-2", "conditional")
    assert dispatcher.get(URL).json()["unit"] == "HB-104"


@pytest.mark.parametrize(
    ("url", "status", "code"),
    [
        ("/api/v1/trips/T-9/readiness/", 404, "not-found"),
        (f"{URL}?unit=HB-999", 404, "not-found"),
        (f"{URL}?units=HB-104", 400, "invalid-input"),
        ("/api/v1/trips/T-0/readiness/", 409, "no-unit"),
        ("/api/v1/trips/T-9/assessments/", 404, "not-found"),
    ],
)
def test_what_cannot_be_answered_says_so(
    dispatcher: APIClient, now: datetime, url: str, status: int, code: str
) -> None:
    dispatcher.post("/api/v1/trips/", trip_body(now, reference="T-0", unit=None), format="json")
    response = dispatcher.get(url)
    assert (response.status_code, response.json()["type"]) == (status, f"/docs/problems/{code}/")


def test_a_trip_that_ended_keeps_its_last_answer(
    dispatcher: APIClient, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    last = dispatcher.get(URL).json()
    cancelled = dispatcher.post("/api/v1/trips/T-1/cancel/", {"reason": "no load"}, format="json", HTTP_IF_MATCH="*")
    assert cancelled.status_code == 200
    post_events(reading(now + MIN, set_point_c=2.0))
    assert dispatcher.get(URL).json() == last
    assert Assessment.objects.for_fleet(tarn).count() == 1


def test_a_trip_that_ended_unanswered_says_so(dispatcher: APIClient) -> None:
    dispatcher.post("/api/v1/trips/T-1/cancel/", {"reason": "no load"}, format="json", HTTP_IF_MATCH="*")
    assert dispatcher.get(URL).status_code == 409


def test_an_overdue_trip_is_still_answered_from_now_on(dispatcher: APIClient, tarn: Fleet, now: datetime) -> None:
    Trip.objects.for_fleet(tarn).update(
        loading_at=now - timedelta(hours=4), depart_at=now - timedelta(hours=2), version=99
    )
    answer = dispatcher.get(URL).json()
    outcome = {finding["check"]: finding["outcome"] for finding in answer["findings"]}
    assert outcome["fleet.load_temperature"] == "pass"
    assert outcome["inspections.pre_trip"] == "unknown"
    assert answer["forecast"]["starts_at"] == answer["computed_at"]


@pytest.fixture
def full_disk() -> Iterator[Callable[[], None]]:
    """Call it, and the database may not grow by a page until the end."""
    if connection.vendor != "sqlite":
        pytest.skip("only SQLite can be kept from growing here; PostgreSQL's disk fills in tests/faults")
    connection.ensure_connection()
    raw = connection.connection
    [most] = raw.execute("PRAGMA max_page_count").fetchone()
    yield lambda: raw.execute("PRAGMA max_page_count = 1")  # it takes no less than there are
    raw.execute(f"PRAGMA max_page_count = {most}")


def test_an_answer_that_cannot_be_kept_is_given_all_the_same(
    dispatcher: APIClient, full_disk: Callable[[], None], caplog: pytest.LogCaptureFixture
) -> None:
    full_disk()
    answer = dispatcher.get(URL)
    assert (answer.status_code, answer.json()["trip"]) == (200, "T-1")
    assert "no room left to keep the answer" in caplog.text
