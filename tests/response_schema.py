"""Holds every answer that a test receives through APIClient against the OpenAPI document.

The document is the one the code generates. Objects of answers are closed here (in the document they are open, so that
callers survive additions): a member that nobody wrote down fails the test that met it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import cache, wraps
from typing import Any

import jsonschema_rs
import orjson
from django.conf import settings
from django.urls import Resolver404
from drf_spectacular.generators import SchemaGenerator
from rest_framework.test import APIClient

JSON_TYPES = ("application/json", "application/problem+json")
PLACE = re.compile(r"<(?:\w+:)?\w+>|\{\w+\}")


class Undocumented(AssertionError):
    """An answer differs from what the OpenAPI document promises."""


@cache
def document() -> dict[str, Any]:
    """The OpenAPI document as the code generates it."""
    made: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    # To plain JSON and back: validators take no lazy texts and no ordered twins.
    plain: dict[str, Any] = orjson.loads(orjson.dumps(made, default=str))
    return plain


@cache
def _operations() -> dict[tuple[str, str], Mapping[str, Any]]:
    return {
        (PLACE.sub("{}", path), method): operation
        for path, item in document()["paths"].items()
        for method, operation in item.items()
        if method != "parameters"
    }


@cache
def _components() -> dict[str, Any]:
    schemas = document()["components"]["schemas"]
    return {"schemas": {name: schema if name == "Problem" else closed(schema) for name, schema in schemas.items()}}


def closed(schema: Any) -> Any:
    """The schema with every object that lists its members closed to others."""
    if isinstance(schema, list):
        return [closed(part) for part in schema]
    if not isinstance(schema, Mapping):
        return schema
    made = {name: closed(part) for name, part in schema.items()}
    if isinstance(made.get("properties"), Mapping) and made.get("type") == "object":
        made.setdefault("additionalProperties", False)
    return made


@cache
def _validator(place: str, method: str, status: str, media_type: str) -> Any:
    schema = _operations()[place, method]["responses"][status]["content"][media_type].get("schema", {})
    whole = {**closed(schema), "components": _components()}
    return jsonschema_rs.Draft202012Validator(whole, validate_formats=True)


def check(*, route: str, method: str, status: int, content_type: str, body: Callable[[], bytes]) -> None:
    """*Raises* Undocumented unless the document lists this answer and its body fits.

    `route` is Django's spelling (`api/v1/trips/<str:reference>/`); `body` is called only where there is one to read.
    """
    place, said = "/" + PLACE.sub("{}", route), f"{method} {route} answered {status}"
    operation = _operations().get((place, "get" if method == "HEAD" else method.lower()))
    if operation is None:
        # Who asks is judged before what is asked: a method that a route does not take may meet 401, 403 or 429 first.
        if status not in (401, 403, 405, 429) and method != "OPTIONS":
            raise Undocumented(f"{said}: the document has no such operation")
        return
    responses = operation["responses"]
    key = str(status) if str(status) in responses else "default"
    if key == "default" and (key not in responses or status < 400 or status in EXPECTED):
        raise Undocumented(f"{said}: the document lists {', '.join(responses)}")
    content = responses[key].get("content", {})
    media_type = content_type.split(";", maxsplit=1)[0].strip()
    if method == "HEAD" or (not content and not media_type):
        return
    if media_type not in content:
        raise Undocumented(f"{said} as {media_type or 'nothing'}: the document lists {', '.join(content) or 'nothing'}")
    if media_type in JSON_TYPES:
        validator = _validator(place, method.lower(), key, media_type)
        instance = orjson.loads(body())
        faults = [f"{fault.instance_path}: {fault.message[:300]}" for fault in validator.iter_errors(instance)]
        if key != "default" and media_type == JSON_TYPES[1]:
            faults += _unlisted_problem(instance, responses[key]["description"])
        if faults:
            raise Undocumented(f"{said}, unlike the document:\n" + "\n".join(faults[:5]))


def _unlisted_problem(problem: Mapping[str, Any], description: str) -> list[str]:
    """The kind of problem must be one that the operation names under its status."""
    return [] if f"]({problem['type']}))" in description else [f"{problem['type']} is not among: {description}"]


# Refusals that an operation must list by their status; `default` stands only for failures and for the rest.
EXPECTED = frozenset({400, 401, 403, 404, 409, 412, 413, 415, 422, 428, 429})


def check_response(response: Any, method: str) -> None:
    """The same for what a test client received. Routes outside /api/v1/ and other URL configurations are let pass."""
    if settings.ROOT_URLCONF != "fleet.urls":
        return
    try:
        route = response.resolver_match.route
    except Resolver404:
        return
    if not route.startswith("api/v1/"):
        return
    check(
        route=route,
        method=method,
        status=response.status_code,
        content_type=response.headers.get("Content-Type", ""),
        body=lambda: response.content,
    )


def watch(client_class: type[APIClient] = APIClient) -> Callable[[], None]:
    """Makes every request of the class check its answer; returns how to undo that."""
    plain = client_class.request

    @wraps(plain)
    def request(self: APIClient, **environ: Any) -> Any:
        response = plain(self, **environ)
        check_response(response, environ.get("REQUEST_METHOD", "GET"))
        return response

    client_class.request = request  # type: ignore[method-assign]

    def undo() -> None:
        client_class.request = plain  # type: ignore[method-assign]

    return undo
