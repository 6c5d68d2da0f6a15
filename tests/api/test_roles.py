"""Who may call what: every route, method and role, as the views declare it, checked by calling."""

from __future__ import annotations

from datetime import datetime

import pytest

from fleet.http.auth import allowed_roles
from fleet.models import Fleet, Role
from tests.api.routes import Route, api_routes
from tests.api.test_isolation import NOWHERE
from tests.conftest import Client

pytestmark = pytest.mark.django_db
MATRIX = [
    pytest.param(route, method, id=f"{method} {route.name}") for route in api_routes() for method in route.methods
]
VALUES = NOWHERE | {"what": "nothing"}
WRITERS = {
    # The machine that sends readings plans nothing, signs nothing and releases nothing.
    Role.INTEGRATOR: {"POST events", "PUT trip-ambient", "POST quarantine-replay", "POST quarantine-discard",
                      "POST thermal-estimates", "POST token-rotate", "DELETE token", "POST login"},
}  # fmt: skip
MANAGER_ONLY = {
    "POST hold-release", "POST alarm-void", "PATCH policy", "POST units", "PATCH unit", "POST unit-models",
    "PATCH unit-model", "POST code-books", "POST inspection-sheets", "POST notice-routes", "PATCH notice-route",
    "DELETE notice-route", "POST notice-route-test", "POST notice-route-rotate", "POST delivery-again",
}  # fmt: skip


@pytest.mark.parametrize(("route", "method"), MATRIX)
def test_a_role_is_let_in_exactly_where_the_view_says(
    route: Route, method: str, tarn: Fleet, client_of: Client, now: datetime
) -> None:
    allowed = allowed_roles(route.roles, method)
    assert allowed, "a method without roles"
    for role in Role:
        response = client_of(tarn, role).generic(method, route.url(VALUES), b"", HTTP_IF_MATCH="*")
        admitted = allowed == "any" or str(role) in allowed
        assert (response.status_code != 403) == admitted, (role, response.status_code, response.content)
        assert response.status_code not in (401, 405, 500)
        if not admitted:
            assert response.json()["type"] == "/docs/problems/not-allowed/"


def may(role: Role) -> set[str]:
    """Changes this role may make, as the views say."""
    return {
        f"{method} {route.name}"
        for route in api_routes()
        for method in route.methods
        if method != "GET"
        and (allowed_roles(route.roles, method) == "any" or role in allowed_roles(route.roles, method))
    }


def test_what_a_machine_that_sends_readings_may_change_is_a_short_list() -> None:
    assert may(Role.INTEGRATOR) == WRITERS[Role.INTEGRATOR]


def test_what_only_a_manager_may_do_is_a_reviewed_list() -> None:
    others = may(Role.INTEGRATOR) | may(Role.DISPATCHER) | may(Role.INSPECTOR)
    assert may(Role.MANAGER) - others == MANAGER_ONLY


def test_only_those_who_answer_for_the_unit_sign() -> None:
    signing = {name for name in may(Role.INSPECTOR) if "inspection" in name or name == "POST alarm-sign-off"}
    assert signing
    assert not signing & (may(Role.DISPATCHER) | may(Role.INTEGRATOR))


PUBLIC = {"login"}


@pytest.mark.parametrize(
    "route", [route for route in api_routes() if route.name not in PUBLIC], ids=lambda route: route.name
)
def test_nobody_is_let_in_without_a_token(route: Route, client) -> None:
    for method in route.methods:
        response = client.generic(method, route.url(VALUES))
        assert (response.status_code, response.json()["type"]) == (401, "/docs/problems/not-authenticated/")
