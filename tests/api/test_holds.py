"""Holds over HTTP: listed, and released by a manager with a reason where every cause allows it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import AuditEntry, Fleet, Hold, Role
from fleet.readiness.service import assess_due, assess_trips
from tests import factories
from tests.api.test_inspections_filing import filing
from tests.conftest import Client
from tests.factories import fault, instant, reading, trip_body

pytestmark = pytest.mark.django_db
URL = "/api/v1/holds/"
REASON = {"reason": "the shipper accepts 2 °C"}
Post = Callable[..., dict[str, Any]]


@pytest.fixture
def boss(client_of: Client, tarn: Fleet) -> APIClient:
    return client_of(tarn, Role.MANAGER)


@pytest.fixture
def held(boss: APIClient, tarn: Fleet, now: datetime, post_events: Post) -> Hold:
    """T-1 may not leave: its unit is set to 2 °C."""
    factories.potato()
    factories.make_unit(tarn)
    assert boss.post("/api/v1/trips/", trip_body(now), format="json").status_code == 201
    post_events(reading(now, set_point_c=2.0))
    assess_due()
    return Hold.objects.for_fleet(tarn).get()


def release(client: APIClient, hold: Hold, body: Any = REASON, tag: str | None = "*", **more: Any) -> Any:
    match = {} if tag is None else {"HTTP_IF_MATCH": tag}
    return client.post(f"{URL}{hold.pk}/release/", body, format="json", **match, **more)


def test_a_hold_names_its_causes_and_what_would_lift_them(boss: APIClient, held: Hold) -> None:
    [item] = boss.get(f"{URL}?state=open&trip=T-1&unit=HB-104").json()["items"]
    assert (item["trip"], item["unit"], item["state"]) == ("T-1", "HB-104", "open")
    [cause] = item["causes"]
    assert (cause["key"], cause["outcome"], cause["releasable"]) == ("fleet.set_point", "block", True)
    assert cause["remedy"].startswith("Set 7 °C")
    assert boss.get(f"{URL}{held.pk}/").json() == item
    assert boss.get(f"{URL}?state=released").json()["items"] == []


def test_a_release_opens_the_gate_for_this_trip_and_leaves_the_verdict(
    boss: APIClient, tarn: Fleet, held: Hold, client_of: Client, now: datetime, post_events: Post
) -> None:
    response = release(boss, held, tag=f'"{held.revision}"')
    assert (response.status_code, response.json()["state"]) == (200, "released")
    assert response["ETag"] == f'"{held.revision + 1}"'
    assert response.json()["released_by"] == "manager of Tarn Haulage"
    assert response.json()["release_until"] == instant(now + timedelta(hours=7))
    answer = boss.get("/api/v1/trips/T-1/readiness/").json()
    assert (answer["verdict"], answer["released"]) == ("blocked", True)
    assigned = boss.put("/api/v1/trips/T-1/assignment/", {"unit": "HB-104"}, format="json", HTTP_IF_MATCH="*")
    assert (assigned.status_code, assigned.json()["released"]) == (200, True)
    assert AuditEntry.objects.for_fleet(tarn).filter(act="hold.ended", actor__role="manager").count() == 1


def test_a_release_does_not_cover_what_comes_later(
    boss: APIClient, held: Hold, post_events: Post, now: datetime
) -> None:
    release(boss, held)
    post_events(reading(now + timedelta(minutes=1), set_point_c=2.0, cargo_c=30.0, unit_on=True, fuel_l=0.0))
    answer = boss.get("/api/v1/trips/T-1/readiness/").json()
    assert (answer["verdict"], answer["released"]) == ("blocked", False)
    assert boss.put(
        "/api/v1/trips/T-1/assignment/", {"unit": "HB-104"}, format="json", HTTP_IF_MATCH="*"
    ).status_code == 409  # fmt: skip


@pytest.mark.parametrize(
    ("body", "tag", "status", "code"),
    [
        (REASON, None, 428, "precondition-required"),
        (REASON, '"99"', 412, "stale-revision"),
        ({}, "*", 400, "invalid-input"),
        ({"reason": "too short"}, "*", 400, "invalid-input"),
        ({"reason": "         "}, "*", 400, "invalid-input"),
        ({"reason": "long enough a reason", "until": "ever"}, "*", 400, "invalid-input"),
    ],
)
def test_a_release_needs_a_reason_and_the_revision(
    boss: APIClient, held: Hold, body: Any, tag: str | None, status: int, code: str
) -> None:
    response = release(boss, held, body, tag)
    assert (response.status_code, response.json()["type"]) == (status, f"/docs/problems/{code}/")
    held.refresh_from_db()
    assert held.state == "open"


def test_a_second_release_of_the_same_hold_is_refused_unless_it_replays(boss: APIClient, held: Hold) -> None:
    key = {"HTTP_IDEMPOTENCY_KEY": "once"}
    tag = f'"{held.revision}"'
    first, again = release(boss, held, tag=tag, **key), release(boss, held, tag=tag, **key)
    assert (again.status_code, again.json(), again["Idempotency-Replayed"]) == (200, first.json(), "true")
    other = release(boss, held)
    assert (other.status_code, other.json()["type"]) == (409, "/docs/problems/release-not-allowed/")


@pytest.mark.parametrize("role", [Role.DISPATCHER, Role.INSPECTOR, Role.INTEGRATOR])
def test_only_a_manager_releases(tarn: Fleet, held: Hold, client_of: Client, role: Role) -> None:
    assert release(client_of(tarn, role), held).status_code == 403


def test_a_stop_tier_alarm_is_not_a_managers_to_release(
    boss: APIClient, tarn: Fleet, held: Hold, post_events: Post, now: datetime
) -> None:
    entry = {"code": "hot", "tier": "stop", "component": "coolant", "meaning": "Hot.", "what_to_do": "Let it cool."}
    book = {"unit_model": "box-8", "entries": [entry]}
    assert boss.post("/api/v1/code-books/", book, format="json").status_code in (200, 201)
    post_events(fault(now, "hot"))
    assess_trips([held.trip_id], now=now + timedelta(seconds=5))
    response = release(boss, held)
    assert (response.status_code, response.json()["type"]) == (409, "/docs/problems/release-not-allowed/")
    assert [cause["check"] for cause in response.json()["causes"]] == ["alarms.stop_tier"]


def test_a_release_does_not_stand_for_what_is_missing_at_the_gate(
    boss: APIClient, tarn: Fleet, held: Hold, client_of: Client, post_events: Post, now: datetime
) -> None:
    client_of(tarn, Role.INSPECTOR).post("/api/v1/inspections/", filing(), format="json")
    release(boss, held)
    assign = boss.put("/api/v1/trips/T-1/assignment/", {"unit": "HB-104"}, format="json", HTTP_IF_MATCH="*")
    assert assign.status_code == 200, assign.content
    left = boss.post("/api/v1/trips/T-1/depart/", HTTP_IF_MATCH="*")
    stopping = {finding["check"]: finding["outcome"] for finding in left.json()["findings"]}
    assert (left.status_code, stopping) == (409, {"fleet.set_point": "block", "fleet.load_temperature": "unknown"})
    held.refresh_from_db()
    assert held.state == "released"
