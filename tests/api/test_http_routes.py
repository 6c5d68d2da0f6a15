"""Every route the service has, as it is wired: nobody gets in without a token, and nothing answers out of form."""

import json
import re

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from fleet.http.auth import RoleAllowed, allowed_roles
from fleet.http.problems import PROBLEMS
from fleet.models import Role

pytestmark = pytest.mark.django_db

METHODS = ("get", "post", "put", "patch", "delete")
BODIES = (b"{", b'{"a": 1, "a": 2}', b'{"a": NaN}', b"\xff", b"[" * 5000)


def _patterns(resolver, prefix=""):
    for pattern in resolver.url_patterns:
        path = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _patterns(pattern, path)
        elif isinstance(pattern, URLPattern) and path.startswith("api/v1/"):
            yield path, pattern.callback


def _routes():
    return dict(_patterns(get_resolver()))


def _filled(route, text="NO-SUCH"):
    """The path of a route with every number a number and every name `text`."""
    return "/" + re.sub(r"<(\w+):\w+>", lambda found: "999999" if found[1] == "int" else text, route)


def _methods(callback):
    actions = getattr(callback, "actions", None)
    return (
        [method for method in METHODS if method in actions or not actions]
        if actions
        else [method for method in METHODS if hasattr(callback.cls, method)]
    )


def problem(answer, *codes):
    assert answer["Content-Type"] == "application/problem+json", answer.content[:200]
    body = json.loads(answer.content)
    assert body["status"] == answer.status_code
    assert body["type"] in {PROBLEMS[code].uri for code in codes}, body
    assert body["request_id"] == answer["X-Request-ID"]
    return body


@pytest.fixture
def stranger(client):
    client.raise_request_exception = False
    return client


def test_there_are_routes_to_walk():
    assert len(_routes()) > 25
    assert all(_methods(callback) for callback in _routes().values())


def test_every_route_says_who_may_use_each_of_its_methods():
    for route, callback in _routes().items():
        view = callback.cls
        if not getattr(view, "public", False):
            assert list(view.permission_classes) == [RoleAllowed], route
        for method in _methods(callback):
            assert allowed_roles(view.roles, method.upper()) is not None, (route, method)


def test_no_route_lets_anybody_in_without_a_token(stranger):
    public = {route for route, callback in _routes().items() if getattr(callback.cls, "public", False)}
    assert public == {"api/v1/login/"}
    for route, callback in _routes().items():
        if route in public:
            continue
        for method in _methods(callback):
            problem(getattr(stranger, method)(_filled(route)), "not-authenticated")


def test_a_method_no_route_takes_is_405_with_the_ones_it_does(client_of, tarn):
    client = client_of(tarn, Role.MANAGER)
    for route, callback in _routes().items():
        for method in set(METHODS) - set(_methods(callback)):
            answer = getattr(client, method)(_filled(route))
            problem(answer, "method-not-allowed")
            allowed = {name.strip().lower() for name in answer["Allow"].split(",")}
            assert set(_methods(callback)) <= allowed, route


def test_every_read_refuses_a_parameter_it_does_not_know(client_of, tarn):
    client = client_of(tarn, Role.MANAGER)
    for route, callback in _routes().items():
        if "get" in _methods(callback):
            body = problem(client.get(_filled(route) + "?no_such_parameter=1"), "invalid-input")
            assert [error["pointer"] for error in body["errors"]] == ["/no_such_parameter"], route


def test_a_name_with_u_0000_is_nobodys_name(client_of, tarn):
    client = client_of(tarn, Role.MANAGER)
    for route, callback in _routes().items():
        if "<str:" in route and "get" in _methods(callback):
            problem(client.get(_filled(route, "A%00B")), "not-found")


@pytest.mark.parametrize("body", BODIES, ids=lambda body: repr(body[:20]))
def test_every_write_refuses_what_is_no_document(client_of, tarn, body):
    for role in Role:
        client = client_of(tarn, role)
        for route, callback in _routes().items():
            for method in _methods(callback):
                if method in {"get", "delete"} or not _may(callback, method, role):
                    continue
                answer = client.generic(
                    method.upper(), _filled(route), body, content_type="application/json", HTTP_IF_MATCH="*"
                )
                # A route that names an object which does not exist may say that first, and one that takes no JSON
                # says so.
                usual = ("malformed-body", "invalid-input") if _takes_json(callback) else ("unsupported-media-type",)
                problem(answer, *usual, *(("not-found", "unknown-trip", "unknown-unit") if "<" in route else ()))


def _takes_json(callback):
    return any(parser.media_type == "application/json" for parser in callback.cls.parser_classes)


def _may(callback, method, role):
    allowed = allowed_roles(callback.cls.roles, method.upper())
    return allowed == "any" or str(role) in allowed


def test_every_write_refuses_a_member_it_does_not_know(client_of, tarn):
    for role in Role:
        client = client_of(tarn, role)
        for route, callback in _routes().items():
            for method in _methods(callback):
                if method == "get" or "<" in route or not _may(callback, method, role):
                    continue
                if getattr(callback.cls, "reads_raw_body", False):
                    continue  # a batch is answered item by item
                answer = getattr(client, method)(
                    _filled(route), {"no_such_member": 1}, format="json", HTTP_IF_MATCH="*"
                )
                body = problem(answer, "invalid-input")
                assert "/no_such_member" in {error["pointer"] for error in body["errors"]}, route


def test_unknown_routes_are_problems_with_and_without_a_slash(stranger, settings):
    settings.WHITENOISE_AUTOREFRESH = False  # files as production serves them
    for path in ("/nothing", "/api/v1/", "/api/v1/nothing/", "/api/v1/trips", "/.env", "/static/no.js"):
        problem(stranger.get(path), "not-found")


def test_the_routes_beside_the_api_answer_anyone(stranger):
    assert stranger.get("/livez").json() == {"status": "live"}
    assert stranger.get("/readyz").json() == {"status": "ready"}
    assert b"warmgate_http_request_seconds" in stranger.get("/metrics").content
    assert stranger.get("/api/schema/").status_code == 200
    assert stranger.get("/api/docs/").status_code == 200
    assert stranger.get("/docs/problems/not-found/").status_code == 200
