"""Fixtures of the whole suite: the cast, and clients that speak for its members."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from fleet.models import Fleet, Role
from tests import factories, response_schema

Client = Callable[..., APIClient]


@pytest.fixture(scope="session", autouse=True)
def _answers_fit_the_document() -> Iterator[None]:
    """Every answer of the suite is held against the OpenAPI document."""
    undo = response_schema.watch()
    yield
    undo()


@pytest.fixture
def now() -> datetime:
    return timezone.now().replace(microsecond=0)


@pytest.fixture
def tarn(db: None) -> Fleet:
    """The fleet that acts."""
    return factories.make_fleet()


@pytest.fixture
def other(db: None) -> Fleet:
    """The fleet that must see nothing of it."""
    return factories.make_fleet("other", "Other Lines")


@pytest.fixture
def client_of(db: None) -> Client:
    """`client_of(fleet, role)`: a client with a token of that role."""

    def make(fleet: Fleet, role: Role = Role.MANAGER) -> APIClient:
        client = APIClient(raise_request_exception=False)
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {factories.token_of(fleet, role)}")
        return client

    return make


@pytest.fixture
def post_events(client_of: Client, tarn: Fleet) -> Callable[..., dict[str, Any]]:
    """Posts events as the integrator of Tarn and returns the parsed 207 answer."""
    client = client_of(tarn, Role.INTEGRATOR)

    def post(*events: dict[str, Any]) -> dict[str, Any]:
        response = client.post("/api/v1/events/", list(events), format="json")
        assert response.status_code == 207, response.content
        answer: dict[str, Any] = response.json()
        return answer

    return post
