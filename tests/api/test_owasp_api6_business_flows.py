"""API6:2023, unrestricted access to sensitive business flows: a departure cannot be had by asking often or cleverly."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from fleet.models import AuditEntry, Fleet, Hold, Role, Trip
from tests import factories
from tests.conftest import Client
from tests.notice_rows import held

pytestmark = pytest.mark.django_db
HOT = {"state": "raised", "spn": 110, "fmi": 0}


@pytest.fixture
def stopped(tarn: Fleet, client_of: Client, post_events: Any, now: datetime) -> Trip:
    """T-1, assigned to HB-104 while all was well; then the unit reported that its coolant is far too hot."""
    factories.potato()
    factories.make_unit(tarn)
    desk = client_of(tarn, Role.DISPATCHER)
    assert desk.post("/api/v1/trips/", factories.trip_body(now), format="json").status_code == 201
    post_events(factories.reading(now))
    assert desk.put(
        "/api/v1/trips/T-1/assignment/", {"unit": "HB-104"}, format="json", HTTP_IF_MATCH="*"
    ).status_code == 200  # fmt: skip
    post_events(factories.fault(now, "any") | {"data": HOT})
    return Trip.objects.for_fleet(tarn).get()


def test_asking_again_and_again_does_not_open_the_gate(stopped: Trip, tarn: Fleet, client_of: Client) -> None:
    desk = client_of(tarn, Role.DISPATCHER)
    answers = [desk.post("/api/v1/trips/T-1/depart/", HTTP_IF_MATCH="*") for _ in range(3)]
    assert {answer.status_code for answer in answers} == {409}
    assert {answer.json()["type"] for answer in answers} == {"/docs/problems/dispatch-blocked/"}
    assert Trip.objects.for_fleet(tarn).get().state == "planned"


def test_a_manager_too_has_no_way_around_a_stop(stopped: Trip, tarn: Fleet, client_of: Client, now: datetime) -> None:
    boss = client_of(tarn, Role.MANAGER)
    boss.post("/api/v1/trips/T-1/depart/", HTTP_IF_MATCH="*")
    assert boss.post("/api/v1/trips/T-1/deliver/", HTTP_IF_MATCH="*").status_code == 409
    alarm = boss.get("/api/v1/alarms/?state=active").json()["items"][0]
    done = {"work_done": "looked at it from afar"}
    signed = boss.post(f"/api/v1/alarms/{alarm['id']}/sign-off/", done, format="json", HTTP_IF_MATCH="*")
    assert (signed.status_code, signed.json()["type"]) == (409, "/docs/problems/alarm-still-reported/")
    assert boss.post("/api/v1/trips/T-1/depart/", HTTP_IF_MATCH="*").status_code == 409


def test_releases_are_for_managers_with_a_reason_and_each_is_written_down(
    tarn: Fleet, client_of: Client, now: datetime
) -> None:
    hold = held(tarn, now)
    path = f"/api/v1/holds/{hold.pk}/release/"
    for role in set(Role) - {Role.MANAGER}:
        refused = client_of(tarn, role).post(path, {"reason": "let it go, please"}, format="json", HTTP_IF_MATCH="*")
        assert refused.status_code == 403
    boss = client_of(tarn, Role.MANAGER)
    for reason in ("", "short", " " * 40):
        assert boss.post(path, {"reason": reason}, format="json", HTTP_IF_MATCH="*").status_code == 400
    assert Hold.objects.for_fleet(tarn).get().state == "open"
    released = boss.post(path, {"reason": "measured by hand: 8 degrees"}, format="json", HTTP_IF_MATCH="*")
    assert released.status_code == 200
    (entry,) = AuditEntry.objects.for_fleet(tarn).filter(content__reason="released")
    assert entry.actor is not None
    assert entry.actor.role == Role.MANAGER
    assert "8 degrees" in str(entry.content)


def test_a_key_makes_a_trip_once_however_often_it_is_sent(tarn: Fleet, client_of: Client, now: datetime) -> None:
    factories.potato()
    factories.make_unit(tarn)
    desk = client_of(tarn, Role.DISPATCHER)
    body = factories.trip_body(now)
    answers = [desk.post("/api/v1/trips/", body, format="json", HTTP_IDEMPOTENCY_KEY="once") for _ in range(5)]
    assert [answer.status_code for answer in answers] == [201] * 5
    assert Trip.objects.for_fleet(tarn).count() == 1
