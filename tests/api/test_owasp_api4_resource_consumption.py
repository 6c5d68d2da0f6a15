"""API4:2023, unrestricted resource consumption: everything a caller can make larger has an end.

Quotas are tests/api/test_rate_limits.py; slow receivers of webhooks tests/unit/test_channels_webhook.py.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pytest

from fleet.models import Fleet, Role
from tests import factories
from tests.conftest import Client
from tests.response_schema import document

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("path", ["trips/", "units/", "thermal/estimates/", "inspections/", "code-books/"])
def test_a_body_over_a_mebibyte_is_refused_before_it_is_read(path: str, tarn: Fleet, client_of: Client) -> None:
    body = b'{"reference": "' + b"x" * 1_048_600 + b'"}'
    answer = client_of(tarn).generic("POST", f"/api/v1/{path}", body, content_type="application/json")
    assert (answer.status_code, answer.json()["type"]) == (413, "/docs/problems/too-large/")


def test_a_batch_has_a_thousand_events_at_most(tarn: Fleet, client_of: Client, now: datetime) -> None:
    events = json.dumps([{"id": str(number)} for number in range(1001)])
    client = client_of(tarn, Role.INTEGRATOR)
    answer = client.generic("POST", "/api/v1/events/", events.encode(), content_type="application/json")
    assert answer.status_code == 413


def test_a_page_has_two_hundred_rows_at_most(tarn: Fleet, client_of: Client) -> None:
    for limit in (0, 201, 10**6, -1):
        assert client_of(tarn).get(f"/api/v1/units/?limit={limit}").status_code == 400


def test_more_units_than_a_ranking_takes_are_refused(tarn: Fleet, client_of: Client, now: datetime) -> None:
    factories.potato()
    factories.make_unit(tarn)
    client = client_of(tarn, Role.DISPATCHER)
    client.post("/api/v1/trips/", factories.trip_body(now), format="json")
    numbers = [f"HB-{number}" for number in range(1001)]
    answer = client.post("/api/v1/trips/T-1/candidates/", {"units": numbers}, format="json")
    assert answer.status_code == 400


def endless(schema: Any, at: str) -> Iterator[str]:
    """Lists of a body that may have any number of items, and texts that may have any length."""
    if not isinstance(schema, dict):
        return
    kinds = schema.get("type")
    kinds = kinds if isinstance(kinds, list) else [kinds]
    if "array" in kinds and "maxItems" not in schema:
        yield at
    if "string" in kinds and not schema.keys() & {"maxLength", "enum", "format", "const", "pattern"}:
        yield at
    for name, part in schema.get("properties", {}).items():
        yield from endless(part, f"{at}/{name}")
    for word in ("items", "additionalProperties"):
        yield from endless(schema.get(word), f"{at}/{word}")
    for word in ("oneOf", "anyOf", "allOf"):
        for part in schema.get(word, []):
            yield from endless(part, at)


def test_every_list_and_every_text_of_every_body_has_a_longest() -> None:
    schemas = document()["components"]["schemas"]
    found = [place for name, schema in schemas.items() if name.endswith("Request") for place in endless(schema, name)]
    assert found == []
