"""The box hour by hour, for a trip with its own unit or a named one."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Fleet, Role, Trip
from tests import factories
from tests.conftest import Client
from tests.factories import instant, reading, trip_body

pytestmark = pytest.mark.django_db
URL = "/api/v1/trips/T-1/forecast/"
Post = Callable[..., dict[str, Any]]


@pytest.fixture
def dispatcher(client_of: Client, tarn: Fleet, now: datetime, post_events: Post) -> APIClient:
    factories.potato()
    factories.make_unit(tarn)
    post_events(reading(now))
    client = client_of(tarn, Role.DISPATCHER)
    assert client.post("/api/v1/trips/", trip_body(now), format="json").status_code == 201
    return client


def test_every_series_has_one_value_for_each_hour(dispatcher: APIClient, now: datetime) -> None:
    answer = dispatcher.get(URL).json()
    hours = answer["hours"]
    assert {len(series) for series in hours.values()} == {21}
    departure = now + timedelta(hours=6)
    assert hours["at"] == [instant(departure + timedelta(hours=h)) for h in range(21)]
    assert hours["ambient_c"][10] == -22.0
    assert hours["fuel_l"] == sorted(hours["fuel_l"])
    assert min(hours["edge_c"]) >= answer["damage_c"]
    assert (answer["unit"], answer["set_point_c"], answer["k_from"]) == ("HB-104", 7.0, "design")


def test_the_forecast_agrees_with_readiness(dispatcher: APIClient) -> None:
    hours = dispatcher.get(URL).json()["hours"]
    told = dispatcher.get("/api/v1/trips/T-1/readiness/").json()["forecast"]
    assert told["fuel_total_l"] == pytest.approx(hours["fuel_l"][-1], abs=0.1)
    assert told["coldest_edge_c"] <= min(hours["edge_c"]) + 0.01


@pytest.mark.parametrize(
    ("change", "url", "status", "code"),
    [
        ({"load": None}, URL, 409, "no-forecast"),
        ({"ambient": []}, URL, 409, "no-forecast"),
        ({"unit": None}, URL, 409, "no-unit"),
        ({}, f"{URL}?unit=HB-999", 404, "not-found"),
        ({}, "/api/v1/trips/T-9/forecast/", 404, "not-found"),
        ({}, f"{URL}?hours=3", 400, "invalid-input"),
    ],
)
def test_what_cannot_be_forecast_says_why(
    client_of: Client, tarn: Fleet, now: datetime, change: dict[str, Any], url: str, status: int, code: str
) -> None:
    factories.potato()
    factories.make_unit(tarn)
    client = client_of(tarn, Role.DISPATCHER)
    client.post("/api/v1/trips/", trip_body(now, **change), format="json")
    response = client.get(url)
    assert (response.status_code, response.json()["type"]) == (status, f"/docs/problems/{code}/")


def test_a_named_unit_is_forecast_with_its_own_box(dispatcher: APIClient, tarn: Fleet, post_events: Post) -> None:
    factories.make_unit(tarn, "HB-2", factories.make_model(tarn, "thin", k_w_m2k=0.9))
    own, other = dispatcher.get(URL).json(), dispatcher.get(f"{URL}?unit=HB-2").json()
    assert other["unit"] == "HB-2"
    assert other["hours"]["heat_kw"][5] == pytest.approx(2 * own["hours"]["heat_kw"][5], rel=0.1)


def test_an_overdue_trip_is_forecast_from_now_with_its_ambient_beside_it(
    dispatcher: APIClient, tarn: Fleet, now: datetime
) -> None:
    late = now - timedelta(hours=3)
    Trip.objects.for_fleet(tarn).update(loading_at=late, depart_at=late)
    hours = dispatcher.get(URL).json()["hours"]
    assert hours["at"][0][:16] >= instant(now)[:16]
    assert {len(series) for series in hours.values()} == {len(hours["at"])}
