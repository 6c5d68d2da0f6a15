"""Units, their models, state and readings over HTTP."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import AuditEntry, Fleet, Role, Trip, Unit, UnitModel, UnitState
from fleet.units.design import DESIGN_NAMES, DESIGN_VALUES, ORDERED, DesignValue
from tests import factories
from tests.conftest import Client
from tests.factories import instant, reading

pytestmark = pytest.mark.django_db
MODELS, UNITS = "/api/v1/unit-models/", "/api/v1/units/"
Post = Callable[..., dict[str, Any]]
MIN = timedelta(minutes=1)


@pytest.fixture
def boss(client_of: Client, tarn: Fleet) -> APIClient:
    return client_of(tarn, Role.MANAGER)


def errors(response: Any) -> list[str]:
    return [error["pointer"] for error in response.json()["errors"]]


def send(client: APIClient, method: str, url: str, body: Any, tag: str | None = "*") -> Any:
    match = {} if tag is None else {"HTTP_IF_MATCH": tag}
    return getattr(client, method)(url, body, format="json", **match)


# --- models -----------------------------------------------------------------------------------------------------------


def test_a_model_keeps_what_is_stated_and_leaves_the_rest_unknown(boss: APIClient) -> None:
    response = boss.post(
        MODELS, {"key": "box-9", "name": "Box", "k_w_m2k": 0.4, "tank_l": {"value": 50, "unit": "gal"}}
    )
    assert (response.status_code, response["Location"]) == (201, f"{MODELS}box-9/")
    body = response.json()
    assert body["tank_l"] == pytest.approx(189.27, abs=0.01)  # 231 cubic inches to the gallon (NIST SP 811)
    assert {name for name in DESIGN_NAMES if body[name] is not None} == {"k_w_m2k", "tank_l"}
    assert boss.get(f"{MODELS}box-9/").json() == body


def lawful(value: DesignValue, number: float) -> dict[str, Any]:
    return {"key": "box-9", "name": "Box", value.name: number}


@pytest.mark.parametrize("value", DESIGN_VALUES, ids=lambda value: value.name)
def test_each_design_value_has_its_limits(boss: APIClient, value: DesignValue) -> None:
    for number in (value.low, value.high):
        assert boss.post(MODELS, lawful(value, number), format="json").status_code == 201
        UnitModel.objects.across_fleets().delete()
    for wrong in (value.low - 0.01, value.high + 0.01, True, "1", None if value.name == "key" else []):
        response = boss.post(MODELS, lawful(value, wrong), format="json")  # type: ignore[arg-type]
        assert (response.status_code, errors(response)) == (400, [f"/{value.name}"]), wrong


@pytest.mark.parametrize(("lower", "upper"), ORDERED)
def test_ordered_values_stay_in_order_in_a_change_too(boss: APIClient, tarn: Fleet, lower: str, upper: str) -> None:
    body = {"key": "box-9", "name": "Box", lower: 20.0, upper: 10.0}
    assert errors(boss.post(MODELS, body, format="json")) == [f"/{lower}"]
    factories.make_model(tarn, "box-7", **{lower: 5.0, upper: 10.0})
    for change in ({lower: 11.0}, {upper: 4.0}):
        response = send(boss, "patch", f"{MODELS}box-7/", change)
        assert (response.status_code, errors(response)) == (400, [f"/{lower}"]), change
    assert send(boss, "patch", f"{MODELS}box-7/", {lower: 10.0}).status_code == 200


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"key": "box 9", "name": "Box"}, "/key"),
        ({"key": "bóx", "name": "Box"}, "/key"),
        ({"name": "Box"}, "/key"),
        ({"key": "box-9"}, "/name"),
        ({"key": "box-9", "name": "Box", "nominal_v": 18.0}, "/nominal_v"),
        ({"key": "box-9", "name": "Box", "colour": "red"}, "/colour"),
    ],
)
def test_a_model_that_cannot_be_is_pointed_at(boss: APIClient, body: dict[str, Any], pointer: str) -> None:
    assert errors(boss.post(MODELS, body, format="json")) == [pointer]


def test_a_changed_model_moves_its_version_and_makes_its_trips_due(
    boss: APIClient, tarn: Fleet, client_of: Client, now: datetime
) -> None:
    factories.potato()
    factories.make_unit(tarn)
    client_of(tarn, Role.DISPATCHER).post("/api/v1/trips/", factories.trip_body(now), format="json")
    Trip.objects.for_fleet(tarn).update(assess_due_at=now + timedelta(hours=5))
    assert send(boss, "patch", f"{MODELS}box-8/", {"k_w_m2k": 0.5}, None).status_code == 428
    assert send(boss, "patch", f"{MODELS}box-8/", {"k_w_m2k": 0.5}, '"7"').status_code == 412
    response = send(boss, "patch", f"{MODELS}box-8/", {"k_w_m2k": 0.5}, '"1"')
    assert (response.status_code, response["ETag"], response.json()["version"]) == (200, '"2"', 2)
    due_at = Trip.objects.for_fleet(tarn).get().assess_due_at
    assert due_at is not None
    assert due_at < now + timedelta(hours=1)


def test_names_are_taken_once_per_fleet(boss: APIClient, other: Fleet, client_of: Client) -> None:
    for client, status in ((boss, 201), (boss, 409), (client_of(other), 201)):
        assert client.post(MODELS, {"key": "box-9", "name": "Box"}, format="json").status_code == status
    for client, status in ((boss, 201), (boss, 409), (client_of(other), 201)):
        assert client.post(UNITS, {"number": "HB-1", "model": "box-9"}, format="json").status_code == status


# --- units ------------------------------------------------------------------------------------------------------------


def test_a_unit_is_made_with_an_empty_state(boss: APIClient, tarn: Fleet) -> None:
    factories.make_model(tarn)
    response = boss.post(UNITS, {"number": "HB-1", "model": "box-8", "built_on": "2020-05-01"}, format="json")
    assert (response.status_code, response.json()["service"]) == (201, "in_service")
    state = boss.get(f"{UNITS}HB-1/state/").json()
    assert (state["newest_at"], state["values"], state["facts"]) == (None, {}, {})
    assert AuditEntry.objects.for_fleet(tarn).filter(act="unit.created").count() == 1


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"model": "no-such"}, "/model"),
        ({"k_test_w_m2k": 0.5}, "/k_tested_on"),
        ({"k_test_w_m2k": 0.0, "k_tested_on": "2024-01-01"}, "/k_test_w_m2k"),
        ({"built_on": "2020-13-01"}, "/built_on"),
        ({"built_on": "2020-05-01T00:00:00Z"}, "/built_on"),
        ({"service": "resting"}, "/service"),
        ({"serviced_at_h": -1}, "/serviced_at_h"),
    ],
)
def test_a_unit_that_cannot_be_is_pointed_at(
    boss: APIClient, tarn: Fleet, change: dict[str, Any], pointer: str
) -> None:
    factories.make_unit(tarn)
    assert errors(boss.post(UNITS, {"number": "HB-1", "model": "box-8"} | change, format="json")) == [pointer]
    assert errors(send(boss, "patch", f"{UNITS}HB-104/", change)) == [pointer]


def test_a_changed_unit_moves_its_state_version(boss: APIClient, tarn: Fleet) -> None:
    factories.make_unit(tarn)
    before = UnitState.objects.for_fleet(tarn).get().version
    response = send(boss, "patch", f"{UNITS}HB-104/", {"service": "out_of_service"}, '"1"')
    assert (response.status_code, response["ETag"]) == (200, '"2"')
    assert UnitState.objects.for_fleet(tarn).get().version == before + 1
    assert errors(send(boss, "patch", f"{UNITS}HB-104/", {"number": "HB-1"})) == ["/number"]
    assert Unit.objects.for_fleet(tarn).get().number == "HB-104"


def test_units_are_listed_by_service_and_model(boss: APIClient, tarn: Fleet) -> None:
    factories.make_unit(tarn, "HB-1")
    factories.make_unit(tarn, "HB-2", factories.make_model(tarn, "box-2"), service="out_of_service")

    def numbers(query: str) -> list[str]:
        return [item["number"] for item in boss.get(UNITS + query).json()["items"]]

    assert numbers("?order=oldest") == ["HB-1", "HB-2"]
    assert numbers("?service=out_of_service") == numbers("?model=box-2") == ["HB-2"]
    assert boss.get(f"{UNITS}?number=HB-1").status_code == 400


# --- state and readings -----------------------------------------------------------------------------------------------


def test_the_state_says_what_is_known_since_when_and_from_whom(
    boss: APIClient, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    factories.make_unit(tarn)
    post_events(reading(now - 5 * MIN), reading(now, source="gateway/yard-4", cargo_c=None, fuel_l=80.0))
    values = boss.get(f"{UNITS}HB-104/state/").json()["values"]
    assert (values["fuel_l"]["value"], values["fuel_l"]["source"]) == (80.0, "gateway/yard-4")
    assert (values["cargo_c"]["value"], values["cargo_c"]["at"]) == (8.0, instant(now - 5 * MIN))
    assert 5.0 <= values["cargo_c"]["age_min"] < 6.0


def test_readings_are_listed_newest_first_within_their_times(
    boss: APIClient, tarn: Fleet, post_events: Post, now: datetime
) -> None:
    factories.make_unit(tarn)
    post_events(*[reading(now - n * MIN, fuel_l=100.0 + n) for n in range(5)])
    url = f"{UNITS}HB-104/readings/"

    def fuel(query: str) -> list[float]:
        return [item["fuel_l"] for item in boss.get(url + query).json()["items"]]

    assert fuel("") == [100.0, 101.0, 102.0, 103.0, 104.0]
    assert fuel(f"?since={instant(now - 3 * MIN)}&until={instant(now - MIN)}") == [102.0, 103.0]
    page = boss.get(f"{url}?limit=2").json()
    rest = boss.get(page["next"]).json()
    assert [item["fuel_l"] for item in rest["items"]] == [102.0, 103.0]
    for wrong in ("?since=yesterday", "?since=2027-01-12T05:40:00", "?limit=0", "?limit=201", "?after=1"):
        assert boss.get(url + wrong).status_code == 400
