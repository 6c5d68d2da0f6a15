"""Nobody sees, names or changes what another fleet owns: every route and method, walked with its ids."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone
from rest_framework.test import APIClient

from fleet.models import Fleet, QuarantinedEvent, Reading, Role, Trip, Unit
from tests import factories
from tests.api.isolation_table import OBJECT_OF, TABLE, Case, Hidden, Named, Narrowed, Own
from tests.api.isolation_world import SHEET, fill, own
from tests.api.routes import Route, api_routes
from tests.api.test_inspections_filing import filing
from tests.conftest import Client

pytestmark = pytest.mark.django_db
ROUTES = {route.name: route for route in api_routes()}
NOWHERE = {"pk": 987_654_321, "reference": "T-NOWHERE", "number": "NOWHERE", "key": "nowhere"}
MARK = "secret"


def cases(kind: type) -> list[Any]:
    return [
        pytest.param(ROUTES[name], method, case, id=f"{method} {name}")
        for name, methods in TABLE.items()
        for method, several in methods.items()
        for case in several
        if isinstance(case, kind) and name in ROUTES
    ]


def test_the_table_names_every_route_and_method_and_no_other() -> None:
    assert {name: sorted(methods) for name, methods in TABLE.items()} == {
        route.name: sorted(route.methods) for route in ROUTES.values()
    }
    for methods in TABLE.values():
        for several in methods.values():
            assert several
            assert all(isinstance(case, Case) for case in several)
            assert all(case.why for case in several if isinstance(case, Own))


def test_a_route_that_names_an_object_has_a_case_that_hides_it() -> None:
    naming = {name for name, route in ROUTES.items() if route.parameters and name != "exports"}
    for name in naming:
        for method in ROUTES[name].methods:
            assert any(isinstance(case, Hidden) for case in TABLE[name][method]), (method, name)


@pytest.fixture(scope="module")
def both(django_db_setup: None, django_db_blocker: Any) -> Iterator[tuple[Fleet, Fleet, dict[str, Any]]]:
    """The two fleets and what the other one owns, made once; each test's own changes are rolled back to here."""

    def client_of(fleet: Fleet, role: Role) -> APIClient:
        client = APIClient()
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {factories.token_of(fleet, role)}")
        return client

    with django_db_blocker.unblock(), transaction.atomic():
        factories.potato()
        tarn, other = factories.make_fleet(), factories.make_fleet("other", "Other Lines")
        yield tarn, other, fill(other, timezone.now().replace(microsecond=0), client_of)
        transaction.set_rollback(True)


@pytest.fixture
def tarn(both: tuple[Fleet, Fleet, dict[str, Any]], db: None) -> Fleet:
    return both[0]


@pytest.fixture
def other(both: tuple[Fleet, Fleet, dict[str, Any]], db: None) -> Fleet:
    return both[1]


@pytest.fixture
def theirs(both: tuple[Fleet, Fleet, dict[str, Any]], db: None) -> dict[str, Any]:
    return both[2]


def named_by(route: Route, world: Mapping[str, Any]) -> dict[str, Any]:
    """URL values of a route: the object of *world* that its name stands for."""
    words = max((name for name in OBJECT_OF if route.name.startswith(name)), key=len)
    return {parameter: world.get(word) for parameter, word in OBJECT_OF[words].items()}


def call(client: APIClient, method: str, url: str, body: Any = None) -> Any:
    content = b"" if body is None else json.dumps(body).encode()
    kind = {} if body is None else {"content_type": "application/json"}
    return client.generic(method, url, content, HTTP_IF_MATCH="*", **kind)


def told(response: Any) -> dict[str, Any]:
    """What an answer says, without what differs between any two requests."""
    return {name: value for name, value in response.json().items() if name not in ("instance", "request_id")}


@pytest.mark.parametrize(("route", "method", "case"), cases(Hidden))
def test_another_fleets_object_answers_as_one_that_does_not_exist(
    route: Route, method: str, case: Hidden, theirs: dict[str, Any], tarn: Fleet, client_of: Client
) -> None:
    factories.make_unit(tarn)
    values = named_by(route, theirs)
    assert None not in values.values()
    for role in roles_of(route, method):
        client = client_of(tarn, role)
        response = call(client, method, route.url(values), case.body)
        nowhere = call(client, method, route.url(NOWHERE), case.body)
        assert (response.status_code, nowhere.status_code) == (404, 404), response.content
        assert told(response) == told(nowhere)
        assert response["Content-Type"] == nowhere["Content-Type"] == "application/problem+json"


def roles_of(route: Route, method: str) -> list[Role]:
    return list(Role) if route.roles == "any" or route.roles[method] == "any" else sorted(route.roles[method])


@pytest.mark.parametrize(
    ("route", "method"),
    [pytest.param(route, "GET", id=name) for name, route in ROUTES.items()
     if any(isinstance(case, Hidden) for case in TABLE.get(name, {}).get("GET", ()))],
)  # fmt: skip
def test_the_owner_does_see_it(
    route: Route, method: str, theirs: dict[str, Any], other: Fleet, client_of: Client
) -> None:
    response = call(client_of(other, Role.MANAGER), method, route.url(named_by(route, theirs)))
    assert response.status_code == 200
    assert b"".join(response.streaming_content) if response.streaming else response.content


@pytest.mark.parametrize(("route", "method", "case"), cases(Narrowed))
def test_lists_show_the_owner_rows_and_nobody_else(
    route: Route, method: str, case: Narrowed, theirs: dict[str, Any], tarn: Fleet, other: Fleet, client_of: Client
) -> None:
    for query in case.queries:
        url = route.url({}) + query
        stranger, owner = call(client_of(tarn), method, url), call(client_of(other), method, url)
        assert (stranger.status_code, owner.status_code) == (200, 200), (url, stranger.content, owner.content)
        assert MARK not in stranger.content.decode().lower()
        assert len(owner.json()["items"]) >= len(stranger.json()["items"])
        if case.shows:
            assert MARK in owner.content.decode().lower(), url


def filled(template: Any, world: Mapping[str, Any]) -> Any:
    if isinstance(template, dict):
        return {name: filled(value, world) for name, value in template.items()}
    if isinstance(template, list):
        return [filled(value, world) for value in template]
    if isinstance(template, str) and template.startswith("{"):
        return world[template[1:-1]]
    return template


def whole(body: Any, now: datetime) -> Any:
    """The body around the members a table row gives."""
    if "@trip" in body:
        return factories.trip_body(now, reference="T-NEW") | body["@trip"]
    if "@sheet" in body:
        return SHEET | {"key": "ours"} | body["@sheet"]
    return filing(**body["@filing"]) if "@filing" in body else body


@pytest.mark.parametrize(("route", "method", "case"), cases(Named))
def test_naming_another_fleets_object_is_refused_and_changes_nothing(
    route: Route, method: str, case: Named, theirs: dict[str, Any], tarn: Fleet, now: datetime, client_of: Client
) -> None:
    ours = own(tarn, now, client_of)
    client = client_of(tarn, Role.MANAGER)
    url = route.url(named_by(route, ours) if route.parameters else {})
    trips = list(Trip.objects.for_fleet(tarn).values())
    for body in case.bodies:
        if isinstance(body, str):
            response = call(client, method, url + body.format(**theirs))
        else:
            response = call(client, method, url, filled(whole(body, now), theirs))
        assert response.status_code in case.status, (body, response.status_code, response.content)
        assert "Secret" not in response.content.decode()
    after = list(Trip.objects.for_fleet(tarn).values())
    assert [row["loads"] for row in after] == [row["loads"] for row in trips]
    assert {row["planned_unit_id"] for row in after} == {Unit.objects.for_fleet(tarn).get().pk}


def test_an_event_about_another_fleets_unit_is_an_event_about_no_unit(
    theirs: dict[str, Any], tarn: Fleet, other: Fleet, now: datetime, client_of: Client
) -> None:
    before = Reading.objects.for_fleet(other).count()
    events = [factories.reading(now, unit="SECRET-1", id_="x"), factories.fault(now, "x-1", unit="SECRET-1")]
    answer = client_of(tarn, Role.INTEGRATOR).post("/api/v1/events/", events, format="json").json()
    assert [item["code"] for item in answer["items"]] == ["unknown-unit", "unknown-unit"]
    assert Reading.objects.for_fleet(other).count() == before
    assert set(QuarantinedEvent.objects.for_fleet(tarn).values_list("unit_id", flat=True)) == {None}
    assert QuarantinedEvent.objects.for_fleet(other).count() == 1


def test_the_policy_is_the_callers_own(tarn: Fleet, other: Fleet, client_of: Client) -> None:
    changed = client_of(tarn).patch("/api/v1/policy/", {"score_floor": 50.0}, format="json", HTTP_IF_MATCH="*")
    assert changed.status_code == 200
    values = {row["name"]: row["value"] for row in client_of(other).get("/api/v1/policy/").json()["thresholds"]}
    assert values["score_floor"] == 90.0


def test_a_fleets_own_goods_hide_the_built_in_ones_for_itself_only(
    theirs: dict[str, Any], tarn: Fleet, other: Fleet, client_of: Client
) -> None:
    keys = [{item["key"] for item in client_of(fleet).get("/api/v1/commodities/?limit=200").json()["items"]}
            for fleet in (tarn, other)]  # fmt: skip
    assert keys[1] - keys[0] == {"secret-goods"}
    assert "potato" in keys[0] & keys[1]


@pytest.mark.parametrize("what", ["inspections", "repairs", "defects", "alarms", "audit", "photos"])
def test_exports_hold_the_callers_own_rows_only(
    what: str, theirs: dict[str, Any], tarn: Fleet, client_of: Client
) -> None:
    response = client_of(tarn).get(f"/api/v1/exports/{what}/")
    content = b"".join(response.streaming_content) if response.streaming else response.content
    assert response.status_code in (200, 404)
    assert MARK not in content.decode().lower()


def test_two_fleets_may_use_the_same_names(
    theirs: dict[str, Any], tarn: Fleet, now: datetime, client_of: Client
) -> None:
    client = client_of(tarn)
    factories.make_unit(tarn, "SECRET-1", factories.make_model(tarn, "secret-model"))
    body = factories.trip_body(now, reference="T-SECRET", unit="SECRET-1")
    assert client.post("/api/v1/trips/", body, format="json").status_code == 201
    assert client.get("/api/v1/trips/T-SECRET/readiness/").json()["holds"] == []
