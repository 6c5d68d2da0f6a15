"""Charts over the API: drawn, described, bounded, tagged, and only for the fleet they belong to."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from xml.etree import ElementTree

import pytest
from rest_framework.test import APIClient

from fleet.models import Fleet, Role, Trip
from tests import factories
from tests.conftest import Client

pytestmark = pytest.mark.django_db
FORECAST, HISTORY = "/api/v1/trips/T-1/forecast", "/api/v1/units/HB-104/history"
SVG = "{http://www.w3.org/2000/svg}"
LARGEST = 250_000


@pytest.fixture
def dispatcher(tarn: Fleet, client_of: Client, now: datetime, post_events: Callable[..., dict[str, Any]]) -> APIClient:
    """A trip that leaves in six hours, with a unit that has reported for an hour."""
    factories.potato()
    factories.make_unit(tarn)
    client = client_of(tarn, Role.DISPATCHER)
    assert client.post("/api/v1/trips/", factories.trip_body(now), format="json").status_code == 201
    post_events(*(factories.reading(now - timedelta(minutes=m), return_air_c=7 + m / 60) for m in range(60, 0, -5)))
    return client


@pytest.mark.parametrize("address", [FORECAST, HISTORY])
@pytest.mark.parametrize("size", ["wide", "narrow", "mail"])
@pytest.mark.parametrize("look", ["light", "dark"])
def test_an_svg_parses_and_says_what_it_shows(dispatcher: APIClient, address: str, size: str, look: str) -> None:
    response = dispatcher.get(f"{address}.svg?size={size}&look={look}")
    assert response.status_code == 200
    assert response["Content-Type"] == "image/svg+xml"
    assert len(response.content) < LARGEST
    root = ElementTree.fromstring(response.content)
    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert "HB-104" in str(title.text)
    assert description is not None
    assert "readings" in str(description.text)
    assert root.get("role") == "img"


@pytest.mark.parametrize("address", [FORECAST, HISTORY])
def test_a_png_is_one_and_is_bounded(dispatcher: APIClient, address: str) -> None:
    response = dispatcher.get(f"{address}.png?size=narrow")
    assert response["Content-Type"] == "image/png"
    assert response.content.startswith(b"\x89PNG")
    assert len(response.content) < LARGEST


def test_a_chart_is_private_and_not_drawn_again_for_its_tag(dispatcher: APIClient) -> None:
    for _ in range(2):  # a picture is of its minute, and one may just have ended
        first = dispatcher.get(f"{FORECAST}.svg")
        again = dispatcher.get(f"{FORECAST}.svg", HTTP_IF_NONE_MATCH=first["ETag"])
        if again.status_code == 304:
            break
    assert (again.status_code, again.content) == (304, b"")
    assert first["Cache-Control"].startswith("private")
    other = dispatcher.get(f"{FORECAST}.svg?look=dark", HTTP_IF_NONE_MATCH=first["ETag"])
    assert other.status_code == 200


def test_a_reader_has_it_in_other_units(dispatcher: APIClient) -> None:
    drawn = dispatcher.get(f"{FORECAST}.svg?temperature=fahrenheit&volume=gallons").content.decode()
    assert "Load [°F]" in drawn
    assert "Fuel [gal]" in drawn


@pytest.mark.parametrize("query", ["size=huge", "look=blue", "time_zone=Nowhere/Land", "temperature=kelvin", "x=1"])
def test_what_no_paper_has_is_refused(dispatcher: APIClient, query: str) -> None:
    assert dispatcher.get(f"{FORECAST}.svg?{query}").status_code == 400


def test_an_unknown_stretch_is_refused(dispatcher: APIClient) -> None:
    assert dispatcher.get(f"{HISTORY}.svg?stretch=1y").status_code == 400
    assert dispatcher.get(f"{HISTORY}.svg?stretch=7d").status_code == 200


def test_a_delivered_trip_shows_what_was_measured_and_says_so(
    dispatcher: APIClient, tarn: Fleet, now: datetime
) -> None:
    unit = Trip.objects.for_fleet(tarn).get().planned_unit
    Trip.objects.for_fleet(tarn).update(
        state=Trip.State.DELIVERED, assigned_unit=unit, departed_at=now - timedelta(hours=1), delivered_at=now
    )
    drawn = dispatcher.get(f"{FORECAST}.svg").content.decode()
    assert "only what was measured is shown" in drawn
    assert "9 of 10" not in drawn


def test_a_trip_without_a_unit_has_no_chart(dispatcher: APIClient, now: datetime) -> None:
    body = factories.trip_body(now, reference="T-2", unit=None)
    assert dispatcher.post("/api/v1/trips/", body, format="json").status_code == 201
    assert dispatcher.get("/api/v1/trips/T-2/forecast.svg").status_code == 409


def test_an_alarm_is_marked_on_the_chart(
    dispatcher: APIClient, now: datetime, post_events: Callable[..., dict[str, Any]]
) -> None:
    post_events(factories.fault(now - timedelta(minutes=20), "coolant-hot-2"))
    assert "coolant-hot-2" in dispatcher.get(f"{HISTORY}.svg").content.decode()


def test_every_role_may_look_and_a_stranger_may_not(tarn: Fleet, dispatcher: APIClient, client_of: Client) -> None:
    for role in (Role.INSPECTOR, Role.INTEGRATOR, Role.MANAGER):
        assert client_of(tarn, role).get(f"{FORECAST}.svg").status_code == 200
    assert APIClient().get(f"{FORECAST}.svg").status_code == 401
