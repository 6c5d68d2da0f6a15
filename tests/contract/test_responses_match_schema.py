"""The hook that holds every answer of the suite against the OpenAPI document does notice when they differ."""

from __future__ import annotations

import json
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Fleet
from tests import factories
from tests.conftest import Client
from tests.response_schema import JSON_TYPES, Undocumented, check, document

JSON, PROBLEM = JSON_TYPES
UNIT = "api/v1/units/<str:number>/"


def judge(body: Any, *, status: int = 200, content_type: str = JSON, method: str = "GET", route: str = UNIT) -> None:
    raw = json.dumps(body).encode()
    check(route=route, method=method, status=status, content_type=content_type, body=lambda: raw)


@pytest.fixture
def unit(tarn: Fleet, client_of: Client) -> dict[str, Any]:
    factories.make_unit(tarn)
    answer: dict[str, Any] = client_of(tarn).get("/api/v1/units/HB-104/").json()
    return answer


def test_every_request_of_the_suite_passes_the_hook(tarn: Fleet, client_of: Client) -> None:
    assert hasattr(APIClient.request, "__wrapped__")
    client_of(tarn).get("/api/v1/units/HB-404/")


def test_the_answer_as_it_is_passes(unit: dict[str, Any]) -> None:
    judge(unit)


def test_a_member_that_is_missing_new_or_of_another_type_is_noticed(unit: dict[str, Any]) -> None:
    without = {name: value for name, value in unit.items() if name != "number"}
    for body in (without, unit | {"colour": "red"}, unit | {"revision": "7"}, unit | {"service": "somewhere"}):
        with pytest.raises(Undocumented, match="unlike the document"):
            judge(body)


def test_a_status_a_method_and_a_media_type_that_nobody_wrote_down_are_noticed(unit: dict[str, Any]) -> None:
    for changed in (
        {"status": 202},
        {"status": 409, "content_type": PROBLEM},
        {"method": "DELETE", "status": 204},
        {"content_type": "text/html"},
    ):
        with pytest.raises(Undocumented):
            judge(unit, **changed)


def test_a_problem_of_a_kind_that_the_operation_does_not_name_is_noticed() -> None:
    problem = {
        "type": "/docs/problems/not-found/",
        "title": "x",
        "status": 404,
        "detail": "x",
        "instance": "/",
        "request_id": None,
    }
    judge(problem, status=404, content_type=PROBLEM)
    with pytest.raises(Undocumented, match="is not among"):
        judge(problem | {"type": "/docs/problems/conflict/"}, status=404, content_type=PROBLEM)


def test_a_method_that_a_route_does_not_take_needs_no_words() -> None:
    judge({}, method="DELETE", status=405, content_type=PROBLEM)


def test_no_set_of_words_is_named_by_the_schema_tool() -> None:
    """A name of the tool's making follows the field and changes with it; ours are in fleet/http/enum_names.py."""
    from fleet.http.enum_names import ENUM_NAMES

    schemas = document()["components"]["schemas"]
    made = [name for name, schema in schemas.items() if "enum" in schema and name not in ENUM_NAMES]
    # BlankEnum and NullEnum are "nothing here" in a set that may be empty, wherever it stands.
    assert [name for name in made if not name.startswith("Unit") and name not in ("BlankEnum", "NullEnum")] == []
