"""The quarantine as a list: newest first, filtered, and open to those who mend."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest

from fleet.models import Fleet, Role
from tests import factories
from tests.conftest import Client
from tests.factories import fault, reading

pytestmark = pytest.mark.django_db
URL = "/api/v1/quarantine/"
Post = Callable[..., dict[str, Any]]


@pytest.fixture(autouse=True)
def held(tarn: Fleet, post_events: Post, now: datetime) -> None:
    """Three items, each refused for another reason."""
    factories.make_unit(tarn)
    bad = fault(now, "x-1")
    bad["data"]["state"] = "on"
    post_events(reading(now, unit="HB-9"), bad, reading(now + timedelta(hours=1)))


@pytest.mark.parametrize(
    ("query", "codes"),
    [
        ("", ["time-ahead", "bad-value", "unknown-unit"]),
        ("?order=oldest", ["unknown-unit", "bad-value", "time-ahead"]),
        ("?code=bad-value", ["bad-value"]),
        ("?subject=HB-104", ["time-ahead", "bad-value"]),
        ("?state=held&limit=1", ["time-ahead"]),
        ("?state=replayed", []),
    ],
)
def test_it_is_listed_by_what_is_asked_for(tarn: Fleet, client_of: Client, query: str, codes: list[str]) -> None:
    items = client_of(tarn, Role.DISPATCHER).get(URL + query).json()["items"]
    assert [item["code"] for item in items] == codes


@pytest.mark.parametrize("query", ["?unit=HB-9", "?order=code", "?limit=many", "?cursor=x"])
def test_a_filter_nobody_offers_is_refused(tarn: Fleet, client_of: Client, query: str) -> None:
    assert client_of(tarn).get(URL + query).status_code == 400


def test_a_manager_may_discard_what_a_machine_sent(tarn: Fleet, client_of: Client) -> None:
    boss = client_of(tarn, Role.MANAGER)
    pk = boss.get(URL).json()["items"][0]["id"]
    response = boss.post(f"{URL}{pk}/discard/", {"reason": "its clock was wrong"}, format="json")
    assert (response.status_code, response.json()["closed_by"]) == (200, "manager of Tarn Haulage")
    assert boss.post(f"{URL}{pk}/discard/", {"reason": "its clock was wrong"}, format="json").status_code == 409
