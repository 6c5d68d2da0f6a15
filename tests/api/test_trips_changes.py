"""Changes of planned trips over HTTP: times, units, loads, forecasts, and the revisions they need."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Fleet, Role, Trip, UnitState
from tests import factories
from tests.api.trip_calls import LOAD, URL, H, Post, dispatcher, errors, found, patch, planned
from tests.conftest import Client
from tests.factories import instant, reading

__all__ = ["dispatcher", "planned"]
pytestmark = pytest.mark.django_db


def test_times_slip_and_the_revision_moves(planned: APIClient, tarn: Fleet, now: datetime) -> None:
    response = patch(planned, {"depart_at": instant(now + 7 * H)}, '"1"')
    assert (response.status_code, response["ETag"], response.json()["revision"]) == (200, '"2"', 2)
    assert response.json()["depart_at"] == instant(now + 7 * H)
    trip = Trip.objects.for_fleet(tarn).get()
    assert trip.assess_due_at is not None
    assert trip.version == 2


@pytest.mark.parametrize(
    ("tag", "status", "code"),
    [(None, 428, "precondition-required"), ('"9"', 412, "stale-revision"), ('W/"1"', 412, "stale-revision"),
     ("1", 400, "invalid-input"), ('"1"', 200, ""), ('"9", "1"', 200, ""), ("*", 200, "")],
)  # fmt: skip
def test_changes_need_the_revision_that_was_read(planned: APIClient, tag: str | None, status: int, code: str) -> None:
    response = patch(planned, {"help": None}, tag)
    assert response.status_code == status
    assert status == 200 or response.json()["type"] == f"/docs/problems/{code}/"


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"reference": "T-2"}, "/reference"),
        ({"ambient": []}, "/ambient"),
        ({"state": "delivered"}, "/state"),
        ({"load": {"commodity": "potato"}}, "/load/mass_kg"),
        ({"stops": [{"place": "Vinterby depot"}]}, "/stops/0/arrive_at"),
        ({"planned_unit": "HB-999"}, "/planned_unit"),
    ],
)
def test_a_change_takes_whole_parts_of_what_may_change(
    planned: APIClient, changes: dict[str, Any], pointer: str
) -> None:
    response = patch(planned, changes)
    assert response.status_code == 400
    assert pointer in [at for at, _ in errors(response)]
    assert Trip.objects.across_fleets().get().revision == 1


def test_a_slip_that_breaks_the_plan_is_refused(planned: APIClient, now: datetime) -> None:
    response = patch(planned, {"depart_at": instant(now + 15 * H)})
    assert errors(response) == [("/stops/0/arrive_at", "order")]


def test_a_planned_unit_may_change_and_its_hold_stays_behind(
    planned: APIClient, tarn: Fleet, now: datetime, post_events: Post
) -> None:
    factories.make_unit(tarn, "HB-2")
    versions = dict(UnitState.objects.for_fleet(tarn).values_list("unit__number", "version"))
    response = patch(planned, {"planned_unit": "HB-2"})
    assert response.json()["planned_unit"] == "HB-2"
    moved = dict(UnitState.objects.for_fleet(tarn).values_list("unit__number", "version"))
    assert all(moved[number] > versions[number] for number in ("HB-104", "HB-2"))
    assert patch(planned, {"planned_unit": None}).json()["planned_unit"] is None


def test_a_new_set_point_has_to_be_confirmed_by_the_unit(planned: APIClient, post_events: Post, now: datetime) -> None:
    post_events(reading(now - H))
    assert found(planned, "fleet.set_point") == "pass"
    load = {**LOAD, "set_point_c": 7.2}
    patch(planned, {"load": load})
    assert found(planned, "fleet.set_point") == "concern"
    post_events(reading(now + timedelta(minutes=1)))
    assert found(planned, "fleet.set_point") == "pass"


def test_dry_goods_take_the_place_of_a_load(planned: APIClient) -> None:
    assert patch(planned, {"load": None}).json()["loads"] == []
    assert found(planned, "thermal.capacity") == "pass"


def test_a_forecast_is_replaced_by_integrators_too(
    planned: APIClient, tarn: Fleet, now: datetime, client_of: Client
) -> None:
    forecast = {"ambient": [{"at": instant(now), "temp_c": -40.0}, {"at": instant(now + 40 * H), "temp_c": -40.0}],
                "ambient_issued_at": instant(now)}  # fmt: skip
    sender = client_of(tarn, Role.INTEGRATOR)
    url = f"{URL}T-1/ambient/"
    assert sender.put(url, forecast, format="json").status_code == 428
    response = sender.put(url, forecast, format="json", HTTP_IF_MATCH='"1"')
    assert (response.status_code, response["ETag"]) == (200, '"2"')
    assert [point["temp_c"] for point in response.json()["ambient"]] == [-40.0, -40.0]
    trip = Trip.objects.for_fleet(tarn).get()
    assert (trip.ambient_version, trip.version) == (2, 1)
    assert errors(sender.put(url, {"ambient": []}, format="json", HTTP_IF_MATCH="*"))[0][0] == "/ambient"
