"""What tests of trips share: a dispatcher, a planned trip, and the calls they make."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Fleet, Role
from tests import factories
from tests.conftest import Client
from tests.factories import instant, trip_body

URL = "/api/v1/trips/"
H = timedelta(hours=1)
Post = Callable[..., dict[str, Any]]


@pytest.fixture
def dispatcher(client_of: Client, tarn: Fleet) -> APIClient:
    factories.potato()
    factories.make_unit(tarn)
    return client_of(tarn, Role.DISPATCHER)


def errors(response: Any) -> list[tuple[str, str]]:
    return [(error["pointer"], error["code"]) for error in response.json()["errors"]]


def create(client: APIClient, now: datetime, **changes: Any) -> Any:
    return client.post(URL, trip_body(now, **changes), format="json")


def stop(now: datetime, arrive_h: float, leave_h: float | None = None, **more: Any) -> dict[str, Any]:
    leave = {} if leave_h is None else {"leave_at": instant(now + leave_h * H)}
    return {"place": "Norrholm market", "arrive_at": instant(now + arrive_h * H)} | leave | more


LOAD = {"commodity": "potato", "mass_kg": 9000, "temperature_c": 8.0, "set_point_c": 7.0, "low_c": 4.0, "high_c": 15.0}


@pytest.fixture
def planned(dispatcher: APIClient, now: datetime) -> APIClient:
    assert create(dispatcher, now).status_code == 201
    return dispatcher


def patch(client: APIClient, changes: dict[str, Any], tag: str | None = "*") -> Any:
    match = {} if tag is None else {"HTTP_IF_MATCH": tag}
    return client.patch(f"{URL}T-1/", changes, format="json", **match)


def found(client: APIClient, check: str) -> str:
    findings = client.get(f"{URL}T-1/readiness/").json()["findings"]
    return next(str(finding["outcome"]) for finding in findings if finding["check"] == check)
