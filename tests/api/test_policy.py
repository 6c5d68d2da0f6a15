"""The fleet's thresholds over HTTP."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import AuditEntry, Fleet, PolicyRow, Role, Trip
from fleet.policy import THRESHOLDS
from tests import factories
from tests.conftest import Client

pytestmark = pytest.mark.django_db
URL = "/api/v1/policy/"


@pytest.fixture
def boss(client_of: Client, tarn: Fleet) -> APIClient:
    return client_of(tarn, Role.MANAGER)


def values(client: APIClient) -> dict[str, float]:
    return {row["name"]: row["value"] for row in client.get(URL).json()["thresholds"]}


def change(client: APIClient, changes: dict[str, Any], tag: str | None = "*") -> Any:
    return client.patch(URL, changes, format="json", **({} if tag is None else {"HTTP_IF_MATCH": tag}))


def test_a_new_fleet_follows_the_documented_defaults(boss: APIClient) -> None:
    rows = boss.get(URL).json()["thresholds"]
    assert [row["name"] for row in rows] == [row.name for row in THRESHOLDS]
    assert all(row["value"] == row["default"] and row["words"] and row["source"] for row in rows)


def test_only_what_is_changed_is_kept_and_null_puts_it_back(boss: APIClient, tarn: Fleet) -> None:
    first = change(boss, {"score_floor": 80.0, "turn_round_h": 0.0}, '"1"')
    assert (first.status_code, first["ETag"]) == (200, '"2"')
    assert PolicyRow.objects.get(fleet=tarn).overrides == {"score_floor": 80.0, "turn_round_h": 0.0}
    assert values(boss)["turn_round_h"] == 0.0
    change(boss, {"score_floor": None}, '"2"')
    assert PolicyRow.objects.get(fleet=tarn).overrides == {"turn_round_h": 0.0}
    assert values(boss)["score_floor"] == 90.0


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"score_floor": 101.0}, "/score_floor"),
        ({"score_floor": -0.1}, "/score_floor"),
        ({"score_floor": True}, "/score_floor"),
        ({"score_floor": "90"}, "/score_floor"),
        ({"score_floor": 99.0}, "/score_floor"),
        ({"score_ready": 80.0}, "/score_floor"),
        ({"no_such": 1.0}, "/no_such"),
    ],
)
def test_a_threshold_that_cannot_be_is_pointed_at(boss: APIClient, changes: dict[str, Any], pointer: str) -> None:
    response = change(boss, changes)
    assert response.status_code == 400
    assert [error["pointer"] for error in response.json()["errors"]] == [pointer]
    assert values(boss)["score_floor"] == 90.0


@pytest.mark.parametrize(("tag", "status"), [(None, 428), ('"9"', 412), ('"1"', 200), ("*", 200)])
def test_a_change_needs_the_revision_that_was_read(boss: APIClient, tag: str | None, status: int) -> None:
    assert change(boss, {"score_floor": 80.0}, tag).status_code == status


def test_a_read_that_changed_nothing_is_304(boss: APIClient) -> None:
    assert boss.get(URL, HTTP_IF_NONE_MATCH='"1"').status_code == 304


def test_a_change_makes_live_trips_due_and_is_written_down(
    boss: APIClient, tarn: Fleet, client_of: Client, now: datetime
) -> None:
    factories.potato()
    factories.make_unit(tarn)
    client_of(tarn, Role.DISPATCHER).post("/api/v1/trips/", factories.trip_body(now), format="json")
    Trip.objects.for_fleet(tarn).update(assess_due_at=now + timedelta(hours=9))
    change(boss, {"score_floor": 80.0})
    due_at = Trip.objects.for_fleet(tarn).get().assess_due_at
    assert due_at is not None
    assert due_at < now + timedelta(hours=1)
    assert AuditEntry.objects.for_fleet(tarn).get(act="policy.changed").content == {"score_floor": 80.0}
