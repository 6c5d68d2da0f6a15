"""Ranking units for a trip: what may go first, ties that never depend on chance, nothing stored."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Assessment, Fleet, Hold, Role
from fleet.trips.candidates import rank_key
from tests import factories
from tests.api.test_inspections_filing import filing
from tests.conftest import Client
from tests.factories import fault, reading, trip_body

pytestmark = pytest.mark.django_db
URL = "/api/v1/trips/T-1/candidates/"
Post = Callable[..., dict[str, Any]]
ORDER = ["ready", "conditional", "unknown", "blocked"]


@pytest.fixture
def dispatcher(client_of: Client, tarn: Fleet, now: datetime, post_events: Post) -> APIClient:
    """T-1 without a unit, and units that are inspected, plain, silent, wrongly set, too weak and out of service."""
    factories.potato()
    strong, weak = factories.make_model(tarn), factories.make_model(tarn, "box-2", heater_output_kw=1.0)
    for number in ("HB-1", "HB-2", "HB-3", "HB-4"):
        factories.make_unit(tarn, number, strong)
    factories.make_unit(tarn, "HB-5", factories.make_model(tarn, "untold", k_w_m2k=None))
    factories.make_unit(tarn, "HB-6", weak)
    factories.make_unit(tarn, "HB-9", strong, service="out_of_service")
    client = client_of(tarn, Role.DISPATCHER)
    assert client.post("/api/v1/trips/", trip_body(now, unit=None), format="json").status_code == 201
    post_events(*[reading(now, unit=f"HB-{n}", set_point_c=2.0 if n == 4 else 7.0) for n in (1, 2, 3, 4, 5, 6, 9)])
    filed = client_of(tarn, Role.INSPECTOR).post("/api/v1/inspections/", filing(unit="HB-3"), format="json")
    assert filed.status_code == 201
    return client


def ranked(client: APIClient, units: list[str] | None = None) -> list[dict[str, Any]]:
    response = client.post(URL, {"units": units}, format="json")
    assert response.status_code == 200, response.content
    candidates: list[dict[str, Any]] = response.json()["candidates"]
    return candidates


def test_units_that_may_go_stand_first_and_ties_are_settled_by_number(dispatcher: APIClient) -> None:
    candidates = ranked(dispatcher)
    assert [one["unit"] for one in candidates] == ["HB-3", "HB-1", "HB-2", "HB-5", "HB-4", "HB-6"]
    assert [one["rank"] for one in candidates] == [1, 2, 3, 4, 5, 6]
    places = [ORDER.index(one["verdict"]) for one in candidates]
    assert places == sorted(places)
    assert {one["unit"]: [finding["check"] for finding in one["blocking"]] for one in candidates[4:]} == {
        "HB-4": ["fleet.set_point"],
        "HB-6": ["thermal.capacity"],
    }
    assert all(bool(one["blocking"]) == (one["verdict"] in ("blocked", "unknown")) for one in candidates)


def test_the_order_does_not_depend_on_the_order_asked_in(dispatcher: APIClient) -> None:
    numbers = ["HB-6", "HB-2", "HB-1", "HB-3"]
    forwards, backwards = ranked(dispatcher, numbers), ranked(dispatcher, numbers[::-1])
    assert forwards == backwards
    assert [one["unit"] for one in forwards] == ["HB-3", "HB-1", "HB-2", "HB-6"]


def test_a_unit_named_twice_is_ranked_once(dispatcher: APIClient) -> None:
    assert len(ranked(dispatcher, ["HB-1", "HB-1"])) == 1


def test_out_of_service_is_ranked_only_when_asked_for_and_then_blocked(dispatcher: APIClient) -> None:
    [one] = ranked(dispatcher, ["HB-9"])
    assert (one["verdict"], one["blocking"][0]["check"]) == ("blocked", "fleet.availability")


def test_a_stop_tier_fault_puts_a_unit_last(dispatcher: APIClient, post_events: Post, now: datetime) -> None:
    post_events(fault(now, "coolant-hot-2", unit="HB-3"))
    assert ranked(dispatcher)[0]["unit"] in ("HB-1", "HB-2", "HB-3")
    assert all(one["verdict"] in ORDER for one in ranked(dispatcher))


def test_ranking_stores_nothing(dispatcher: APIClient) -> None:
    ranked(dispatcher)
    assert Assessment.objects.across_fleets().count() == Hold.objects.across_fleets().count() == 0


@pytest.mark.parametrize(
    ("units", "pointers"),
    [
        (["HB-1", "HB-98", "HB-99"], ["/units/1", "/units/2"]),
        ([], ["/units"]),
        ([1], ["/units/0"]),
        ("HB-1", ["/units"]),
        ([f"HB-{n}" for n in range(1001)], ["/units"]),
    ],
)
def test_units_that_are_none_are_pointed_at(dispatcher: APIClient, units: Any, pointers: list[str]) -> None:
    response = dispatcher.post(URL, {"units": units}, format="json")
    assert response.status_code == 400
    assert [error["pointer"] for error in response.json()["errors"]] == pointers


def test_a_trip_that_is_not_there_is_404(dispatcher: APIClient) -> None:
    assert dispatcher.post("/api/v1/trips/T-9/candidates/", {"units": None}, format="json").status_code == 404


def test_the_rank_puts_verdict_before_score_before_number() -> None:
    from types import SimpleNamespace as Fake

    def answer(verdict: str, score: float | None, number: str) -> Any:
        return Fake(verdict=verdict, score=score, findings=(), facts=Fake(unit=Fake(number=number)))

    in_order = [
        answer("ready", 98.4, "HB-2"),
        answer("ready", 98.1, "HB-1"),
        answer("ready", 97.4, "HB-0"),
        answer("conditional", 100.0, "HB-0"),
        answer("unknown", None, "HB-0"),
        answer("blocked", 100.0, "HB-0"),
    ]
    jumbled = in_order[::-1]
    assert sorted(jumbled, key=rank_key) == in_order
