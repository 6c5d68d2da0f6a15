"""Every body that can be sent has an example in the OpenAPI document, and the examples are right."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import jsonschema_rs
import pytest
from rest_framework.test import APIClient

from fleet.http.fields import parse_instant
from fleet.models import Fleet, Role
from tests import factories
from tests.conftest import Client
from tests.response_schema import document


def bodies() -> Iterator[tuple[str, dict[str, Any]]]:
    for path, item in document()["paths"].items():
        for method, operation in item.items():
            if isinstance(operation, dict) and "requestBody" in operation:
                for media_type, content in operation["requestBody"]["content"].items():
                    if "json" in media_type:
                        yield f"{method} {path} {media_type}", content


def test_every_body_has_an_example_that_fits_its_schema() -> None:
    found = dict(bodies())
    assert len(found) > 25
    assert [name for name, content in found.items() if "example" not in content] == []
    components = document()["components"]
    for name, content in found.items():
        validator = jsonschema_rs.Draft202012Validator(
            content["schema"] | {"components": components}, validate_formats=True
        )
        assert [error.message for error in validator.iter_errors(content["example"])] == [], name


EXAMPLES_NOW = datetime(2027, 1, 12, 12, 30, tzinfo=UTC)
"""The moment at which the examples would be sent."""


def example(operation: str, *, now: datetime) -> Any:
    """The example with its times moved as if it were sent now."""
    (content,) = [content for name, content in bodies() if name.startswith(f"{operation} ")]
    return moved(content["example"], now - EXAMPLES_NOW)


def moved(value: Any, by: timedelta) -> Any:
    if isinstance(value, dict):
        return {name: moved(member, by) for name, member in value.items()}
    if isinstance(value, list):
        return [moved(member, by) for member in value]
    at = parse_instant(value) if isinstance(value, str) else None
    return value if at is None else factories.instant(at + by)


@pytest.fixture
def manager(tarn: Fleet, client_of: Client) -> APIClient:
    factories.potato()
    return client_of(tarn, Role.MANAGER)


def test_the_examples_tell_one_story_that_the_service_accepts(
    manager: APIClient, tarn: Fleet, client_of: Client, now: datetime
) -> None:
    def send(method: str, path: str, status: int, url: str | None = None, **headers: Any) -> Any:
        call = getattr(manager, method)
        response = call(url or path, example(f"{method} {path}", now=now), format="json", **headers)
        assert response.status_code == status, (path, response.content)
        return response.json()

    any_revision = {"HTTP_IF_MATCH": "*"}
    send("post", "/api/v1/unit-models/", 201)
    send("post", "/api/v1/units/", 201)
    send("post", "/api/v1/code-books/", 200)
    send("post", "/api/v1/trips/preview/", 200)
    send("post", "/api/v1/trips/", 201)
    send("put", "/api/v1/trips/{reference}/ambient/", 200, "/api/v1/trips/T-7781/ambient/", **any_revision)
    send("patch", "/api/v1/trips/{reference}/", 200, "/api/v1/trips/T-7781/", **any_revision)
    send("post", "/api/v1/thermal/estimates/", 200)
    send("post", "/api/v1/inspection-sheets/", 201)
    filed = send("post", "/api/v1/inspections/", 201)
    send("patch", "/api/v1/inspections/{id}/", 200, f"/api/v1/inspections/{filed['id']}/", **any_revision)
    send("post", "/api/v1/units/{number}/service/", 201, "/api/v1/units/HB-104/service/")
    send("patch", "/api/v1/policy/", 200, **any_revision)
    send("patch", "/api/v1/unit-models/{key}/", 200, "/api/v1/unit-models/box-8/", **any_revision)
    send("patch", "/api/v1/units/{number}/", 200, "/api/v1/units/HB-104/", **any_revision)
    send("post", "/api/v1/trips/{reference}/cancel/", 200, "/api/v1/trips/T-7781/cancel/", **any_revision)
    gateway = client_of(tarn, Role.INTEGRATOR)
    answer = gateway.post("/api/v1/events/", example("post /api/v1/events/", now=now), format="json").json()
    assert (answer["accepted"], answer["items"]) == (2, [])
