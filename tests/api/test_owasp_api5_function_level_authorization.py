"""API5:2023, broken function level authorization: a role may do what its list says, by whatever way it asks.

The whole matrix of routes, methods and roles is tests/api/test_roles.py.
"""

from __future__ import annotations

from typing import Any

import pytest

from fleet.models import Fleet, Role, UnitModel
from tests import factories
from tests.conftest import Client

pytestmark = pytest.mark.django_db
MODEL = {"key": "box-9", "name": "Box"}


@pytest.mark.parametrize("role", sorted(set(Role) - {Role.MANAGER}))
def test_a_method_named_in_a_header_changes_nothing(role: Role, tarn: Fleet, client_of: Client) -> None:
    client = client_of(tarn, role)
    for name in ("HTTP_X_HTTP_METHOD_OVERRIDE", "HTTP_X_METHOD_OVERRIDE", "HTTP_X_HTTP_METHOD"):
        answer = client.get("/api/v1/unit-models/", **{name: "POST"})
        assert answer.status_code == 200
        assert client.post("/api/v1/unit-models/", MODEL, format="json", **{name: "GET"}).status_code == 403
    assert not UnitModel.objects.across_fleets().exists()


@pytest.mark.parametrize(
    "path", ["unit-models", "unit-models//", "Unit-Models/", "../v1/unit-models/", "unit-models/%2e/"]
)
def test_another_spelling_of_a_path_is_no_way_around(path: str, tarn: Fleet, client_of: Client) -> None:
    answer = client_of(tarn, Role.INTEGRATOR).post(f"/api/v1/{path}", MODEL, format="json")
    assert answer.status_code in (403, 404, 405)
    assert not UnitModel.objects.across_fleets().exists()


def test_a_role_is_judged_before_the_body_so_that_refusals_teach_nothing(tarn: Fleet, client_of: Client) -> None:
    for role in set(Role) - {Role.MANAGER}:
        answer = client_of(tarn, role).post("/api/v1/unit-models/", {"anything": 1}, format="json")
        assert answer.status_code == 403
        assert "errors" not in answer.json()


def test_a_role_that_changes_counts_from_the_next_request_on(tarn: Fleet, client_of: Client) -> None:
    from fleet.models import Member

    client = client_of(tarn, Role.MANAGER)
    assert client.post("/api/v1/unit-models/", MODEL, format="json").status_code == 201
    Member.objects.filter(fleet=tarn).update(role=Role.INSPECTOR)
    assert client.post("/api/v1/unit-models/", MODEL | {"key": "box-10"}, format="json").status_code == 403


def test_there_is_no_back_door_of_the_framework(client_of: Client, tarn: Fleet, settings: Any) -> None:
    settings.WHITENOISE_AUTOREFRESH = False  # files as production serves them
    factories.make_unit(tarn)
    for path in (
        "/api-auth/login/",
        "/api/v1/auth/",
        "/__debug__/",
        "/api/v1/",
        "/api/",
        "/static/../manage.py",
    ):
        assert client_of(tarn).get(path).status_code == 404, path


def test_a_token_opens_no_page_and_no_configuration(client_of: Client, tarn: Fleet) -> None:
    for path in ("/", "/units/", "/preferences/", "/admin/", "/admin/fleet/member/"):
        answer = client_of(tarn).get(path)
        assert answer.status_code == 302, path
        assert "/sign-in/" in answer["Location"] or "/admin/login/" in answer["Location"], path
