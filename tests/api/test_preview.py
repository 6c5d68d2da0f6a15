"""A trip that is not stored, answered as if it were."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Assessment, AuditEntry, Fleet, Hold, Role, Trip, UnitState
from tests import factories
from tests.conftest import Client
from tests.factories import reading, trip_body

pytestmark = pytest.mark.django_db
URL = "/api/v1/trips/preview/"
Post = Callable[..., dict[str, Any]]


@pytest.fixture
def dispatcher(client_of: Client, tarn: Fleet, now: datetime, post_events: Post) -> APIClient:
    factories.potato()
    factories.make_unit(tarn)
    post_events(reading(now))
    return client_of(tarn, Role.DISPATCHER)


def test_a_preview_answers_as_the_stored_trip_would(dispatcher: APIClient, now: datetime) -> None:
    preview = dispatcher.post(URL, trip_body(now), format="json")
    assert preview.status_code == 200
    dispatcher.post("/api/v1/trips/", trip_body(now), format="json")
    stored = dispatcher.get("/api/v1/trips/T-1/readiness/").json()
    moving = ("computed_at", "valid_until", "versions", "findings")
    assert {k: v for k, v in preview.json().items() if k not in moving} == {
        k: v for k, v in stored.items() if k not in moving
    }
    outcomes = [[(f["check"], f["outcome"]) for f in one["findings"]] for one in (preview.json(), stored)]
    assert outcomes[0] == outcomes[1]


def test_a_preview_stores_nothing(dispatcher: APIClient, now: datetime, tarn: Fleet) -> None:
    version = UnitState.objects.for_fleet(tarn).get().version
    audits = AuditEntry.objects.for_fleet(tarn).count()
    dispatcher.post(URL, trip_body(now), format="json")
    assert [model.objects.across_fleets().count() for model in (Trip, Assessment, Hold)] == [0, 0, 0]
    assert UnitState.objects.for_fleet(tarn).get().version == version
    assert AuditEntry.objects.for_fleet(tarn).count() == audits


def test_a_preview_of_a_stored_trip_does_not_collide_with_itself(dispatcher: APIClient, now: datetime) -> None:
    dispatcher.post("/api/v1/trips/", trip_body(now), format="json")
    again = dispatcher.post(URL, trip_body(now), format="json").json()
    another = dispatcher.post(URL, trip_body(now, reference="T-2"), format="json").json()
    verdicts = [
        next(f["outcome"] for f in one["findings"] if f["check"] == "fleet.availability") for one in (again, another)
    ]
    assert verdicts == ["pass", "block"]


def test_a_preview_needs_a_unit(dispatcher: APIClient, now: datetime) -> None:
    response = dispatcher.post(URL, trip_body(now, unit=None), format="json")
    assert [error["pointer"] for error in response.json()["errors"]] == ["/planned_unit"]


def test_a_preview_of_dangerous_goods_is_refused(dispatcher: APIClient, now: datetime) -> None:
    body = trip_body(now)
    body["load"]["dangerous_goods"] = "class 3"
    assert dispatcher.post(URL, body, format="json").status_code == 422
