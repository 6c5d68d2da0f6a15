"""Trips over HTTP: what a plan must obey, and how it is stored."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import AuditEntry, Commodity, Fleet, Role, Trip
from tests import factories
from tests.api.trip_calls import LOAD, URL, H, create, dispatcher, errors, planned, stop
from tests.conftest import Client
from tests.factories import instant, trip_body

__all__ = ["dispatcher", "planned"]
pytestmark = pytest.mark.django_db


# The trip of the factory loads at now + 4.5 h and leaves at now + 6 h.
PLANS: dict[str, tuple[Callable[[datetime], dict[str, Any]], str, str]] = {
    "loading after departure": (lambda now: {"loading_at": instant(now + 7 * H)}, "/loading_at", "order"),
    "loading over a week before": (lambda now: {"loading_at": instant(now - 163 * H)}, "/loading_at", "order"),
    "arrival at departure": (lambda now: {"stops": [stop(now, 6)]}, "/stops/0/arrive_at", "order"),
    "leaving before arrival": (
        lambda now: {"stops": [stop(now, 8, 7.9), stop(now, 12)]}, "/stops/0/leave_at", "order",
    ),
    "a stop nobody leaves": (lambda now: {"stops": [stop(now, 8), stop(now, 12)]}, "/stops/0/leave_at", "required"),
    "stops out of order": (
        lambda now: {"stops": [stop(now, 12, 13), stop(now, 12.5)]}, "/stops/1/arrive_at", "order",
    ),
    "doors open for longer than the stop": (
        lambda now: {"stops": [stop(now, 8, 9, door_open_min=61), stop(now, 12)]}, "/stops/0/door_open_min", "order",
    ),
    "over three weeks": (lambda now: {"stops": [stop(now, 6 + 21 * 24 + 0.1)]}, "/stops", "order"),
    "no stop": (lambda now: {"stops": []}, "/stops", "min-length"),
    "ambient that goes back in time": (
        lambda now: {"ambient": [{"at": instant(now), "temp_c": 1}, {"at": instant(now - H), "temp_c": 1}]},
        "/ambient/1/at", "order",
    ),
    "ambient twice at one moment": (
        lambda now: {"ambient": [{"at": instant(now), "temp_c": 1}] * 2}, "/ambient/1/at", "order",
    ),
    "air colder than any": (lambda now: {"ambient": [{"at": instant(now), "temp_c": -90.5}]}, "/ambient/0/temp_c",
                            "too-small"),
    "both load and loads": (lambda now: {"load": LOAD, "loads": [LOAD]}, "/load", "invalid"),
    "an unknown commodity": (lambda now: {"load": LOAD | {"commodity": "moon-rock"}}, "/load/commodity",
                             "unknown-commodity"),
    "limits the wrong way round": (lambda now: {"load": LOAD | {"low_c": 15.0}}, "/load/low_c", "order"),
    "damage above the warm limit": (lambda now: {"load": LOAD | {"damage_c": 15.0}}, "/load/damage_c", "order"),
    "no set point": (lambda now: {"load": LOAD | {"set_point_c": None}}, "/load/set_point_c", "required"),
    "two set points in one box": (
        lambda now: {"load": "@loads", "loads": [LOAD, LOAD | {"set_point_c": 8.0}]}, "/loads/0/set_point_c",
        "contradiction",
    ),
    "the second load is wrong": (
        lambda now: {"load": "@loads", "loads": [LOAD, LOAD | {"commodity": "moon-rock"}]}, "/loads/1/commodity",
        "unknown-commodity",
    ),
    "a heavy load": (lambda now: {"load": LOAD | {"mass_kg": 60_001}}, "/load/mass_kg", "too-large"),
    "true as a mass": (lambda now: {"load": LOAD | {"mass_kg": True}}, "/load/mass_kg", "not-a-number"),
    "help that is slower in half of the cases": (
        lambda now: {"help": {"median_h": 6.0, "p90_h": 3.0}}, "/help/p90_h", "invalid",
    ),
    "an unknown unit": (lambda now: {"planned_unit": "HB-999"}, "/planned_unit", "unknown-unit"),
    "a reference with a slash": (lambda now: {"reference": "T/1"}, "/reference", "invalid"),
    "a naive time": (lambda now: {"depart_at": "2027-01-12T18:00:00"}, "/depart_at", "not-an-instant"),
    "a member nobody knows": (lambda now: {"driver": "me"}, "/driver", "unknown-member"),
    "a member nobody knows inside": (lambda now: {"load": LOAD | {"colour": 1}}, "/load/colour", "unknown-member"),
}  # fmt: skip


@pytest.mark.parametrize(("change", "pointer", "code"), PLANS.values(), ids=PLANS)
@pytest.mark.parametrize("route", ["", "preview/"])
def test_a_plan_that_cannot_be_is_refused_with_a_pointer(
    dispatcher: APIClient, now: datetime, route: str, change: Any, pointer: str, code: str
) -> None:
    body = trip_body(now) | change(now)
    if body["load"] == "@loads":
        del body["load"]
    response = dispatcher.post(URL + route, body, format="json")
    assert response.status_code == 400, response.content
    assert (pointer, code) in errors(response)
    assert Trip.objects.across_fleets().count() == 0


@pytest.mark.parametrize(
    "change",
    [
        lambda now: {"loading_at": instant(now + 6 * H)},
        lambda now: {"loading_at": instant(now + 6 * H - 168 * H)},
        lambda now: {"stops": [stop(now, 8, 8, door_open_min=0), stop(now, 12)]},
        lambda now: {"stops": [stop(now, 8, 9, door_open_min=60), stop(now, 12)]},
        lambda now: {"stops": [stop(now, 6 + 21 * 24)]},
        lambda now: {"load": None},
        lambda now: {"ambient": []},
        lambda now: {"planned_unit": None},
        lambda now: {"load": LOAD | {"set_point_c": {"value": 44.6, "unit": "degF"}}},
    ],
)
def test_a_plan_at_the_very_limit_is_taken(dispatcher: APIClient, now: datetime, change: Any) -> None:
    response = create(dispatcher, now, **change(now))
    assert response.status_code == 201, response.content


def test_a_trip_is_stored_with_its_limits_resolved(dispatcher: APIClient, tarn: Fleet, now: datetime) -> None:
    Commodity.objects.create(
        fleet=tarn, key="our-pears", name="Pears", freezes_c=-1.5, chill_c=2.0, low_c=3.0, high_c=9.0, cp_kj_kgk=3.7,
        latent_kj_kg=270.0, respiration_w_kg=0.02, source="tests",
    )  # fmt: skip
    load = {"commodity": "our-pears", "mass_kg": 9000, "temperature_c": 5.0, "set_point_c": 6.0, "low_c": 4.0}
    response = create(dispatcher, now, load=load)
    assert response.status_code == 201
    assert (response["Location"], response["ETag"]) == (f"{URL}T-1/", '"1"')
    body = response.json()
    [stored] = body["loads"]
    assert (stored["low_c"], stored["high_c"], stored["damage_c"], stored["freezes_c"]) == (4.0, 9.0, 2.0, -1.5)
    assert (stored["cp_kj_kgk"], stored["respiration_w_kg"]) == (3.7, 0.02)
    assert (body["state"], body["planned_unit"], body["assigned_unit"]) == ("planned", "HB-104", None)
    assert [point["heater_off"] for point in body["stops"]] == [True, False]
    assert dispatcher.get(f"{URL}T-1/").json() == body
    assert AuditEntry.objects.for_fleet(tarn).filter(act="trip.created").count() == 1


@pytest.mark.parametrize(
    ("hazard", "stated", "status", "pointer"),
    [
        ("refused", None, 422, "/load/commodity"),
        ("refused", "none", 422, "/load/commodity"),
        ("must_state", None, 422, "/load/dangerous_goods"),
        ("must_state", "none", 201, ""),
        ("must_state", "class 3", 422, "/load/commodity"),
        ("none", None, 201, ""),
        ("none", "class 3", 422, "/load/commodity"),
    ],
)
def test_dangerous_goods_are_refused_and_not_guessed(
    dispatcher: APIClient, tarn: Fleet, now: datetime, hazard: str, stated: str | None, status: int, pointer: str
) -> None:
    Commodity.objects.create(
        fleet=tarn, key="paint", name="Paint", freezes_c=0.0, low_c=5.0, high_c=30.0, hazard=hazard, source="tests"
    )
    response = create(dispatcher, now, load=LOAD | {"commodity": "paint", "dangerous_goods": stated})
    assert response.status_code == status, response.content
    if status == 422:
        assert response.json()["type"] == "/docs/problems/hazardous-load/"
        assert [error["pointer"] for error in response.json()["errors"]] == [pointer]


def test_a_reference_is_taken_once_per_fleet(
    dispatcher: APIClient, now: datetime, other: Fleet, client_of: Client
) -> None:
    assert create(dispatcher, now).status_code == 201
    again = create(dispatcher, now)
    assert (again.status_code, again.json()["type"]) == (409, "/docs/problems/conflict/")
    factories.make_unit(other)
    assert create(client_of(other, Role.DISPATCHER), now).status_code == 201


def test_an_idempotent_create_replays_the_first_answer(dispatcher: APIClient, now: datetime) -> None:
    key = {"HTTP_IDEMPOTENCY_KEY": "a-key-of-mine"}
    first = dispatcher.post(URL, trip_body(now), format="json", **key)
    again = dispatcher.post(URL, trip_body(now), format="json", **key)
    assert (first.status_code, again.status_code, again.json()) == (201, 201, first.json())
    assert (again["Idempotency-Replayed"], again["ETag"]) == ("true", first["ETag"])
    other_body = dispatcher.post(URL, trip_body(now, reference="T-2"), format="json", **key)
    assert (other_body.status_code, Trip.objects.across_fleets().count()) == (422, 1)
