"""API3:2023, broken object property level authorization: only what the document names is written or shown."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from fleet.models import Fleet, Role, Trip, Unit
from tests import factories
from tests.conftest import Client
from tests.response_schema import document

pytestmark = pytest.mark.django_db


def test_members_that_belong_to_the_service_are_refused_and_not_ignored(
    tarn: Fleet, other: Fleet, client_of: Client, now: datetime
) -> None:
    factories.potato()
    factories.make_unit(tarn)
    manager = client_of(tarn)
    wanted = {
        "state": "delivered", "released": True, "verdict": "ready", "fleet": other.pk, "revision": 99, "id": 1,
        "assigned_unit": "HB-104", "version": 5, "score": 100,
    }  # fmt: skip
    answer = manager.post("/api/v1/trips/", factories.trip_body(now) | wanted, format="json")
    assert answer.status_code == 400
    assert {error["pointer"] for error in answer.json()["errors"]} == {f"/{name}" for name in wanted}
    assert not Trip.objects.across_fleets().exists()


def test_a_unit_cannot_be_moved_to_another_fleet(tarn: Fleet, other: Fleet, client_of: Client) -> None:
    unit = factories.make_unit(tarn)
    for body in ({"fleet": other.pk}, {"fleet_id": other.pk}, {"number": "HB-1", "fleet": {"id": other.pk}}):
        answer = client_of(tarn).patch("/api/v1/units/HB-104/", body, format="json", HTTP_IF_MATCH="*")
        assert answer.status_code == 400
    assert Unit.objects.across_fleets().get(pk=unit.pk).fleet_id == tarn.pk


def test_every_body_is_closed() -> None:
    """Also the parts of bodies; what other types of event say is open on purpose and judged by its handler."""
    schemas = document()["components"]["schemas"]
    requests = {name: schema for name, schema in schemas.items() if name.endswith("Request") and "properties" in schema}
    assert len(requests) > 30
    assert [name for name, schema in requests.items() if schema.get("additionalProperties") is not False] == []


def test_no_answer_has_a_member_for_a_secret_but_the_three_that_make_one() -> None:
    schemas = document()["components"]["schemas"]
    words = ("password", "secret", "digest", "token_key", "token")
    showing = {
        name: sorted(member for member in schema.get("properties", {}) if member in words)
        for name, schema in schemas.items()
        if not name.endswith("Request")
    }
    found = {name: members for name, members in showing.items() if members}
    assert {member for members in found.values() for member in members} == {"secret", "token"}
    assert set(found) - {"NewTokenOutput"} == {name for name, members in found.items() if members == ["secret"]}
    assert found["NewTokenOutput"] == ["token"]


def test_addresses_of_notice_routes_are_for_managers(tarn: Fleet, client_of: Client) -> None:
    body: dict[str, Any] = {"member": "tarn-manager", "channel": "email", "address": "private@tarn.example"}
    assert client_of(tarn).post("/api/v1/notice-routes/", body, format="json").status_code == 201
    for role in set(Role) - {Role.MANAGER}:
        answer = client_of(tarn, role).get("/api/v1/notice-routes/")
        assert "private@tarn.example" not in answer.content.decode(), role
