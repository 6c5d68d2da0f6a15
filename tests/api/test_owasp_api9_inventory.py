"""API9:2023, improper inventory management: what is served is what is written down, in one version."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.urls import URLPattern, URLResolver, get_resolver

from tests.api.page_routes import page_routes
from tests.api.routes import api_routes
from tests.response_schema import PLACE, document

BESIDE_THE_API = {
    "livez", "readyz", "metrics", "api/schema/", "api/docs/", "docs/problems/<slug:slug>/", "sign-in/",
}  # fmt: skip
"""Every route that is no part of the API and public: reviewed by hand."""


def routes(resolver: Any = None, prefix: str = "") -> Iterator[str]:
    for part in (resolver or get_resolver()).url_patterns:
        path = prefix + str(part.pattern)
        if isinstance(part, URLResolver):
            yield from routes(part, path)
        elif isinstance(part, URLPattern):
            yield path


def test_every_route_is_of_version_1_or_on_the_short_list() -> None:
    beside = {path for path in routes() if not path.startswith(("api/v1/", settings.ADMIN_PATH))}
    assert beside - set(page_routes()) == BESIDE_THE_API


def test_the_document_names_every_route_and_method_and_no_other() -> None:
    served = {
        (PLACE.sub("{}", "/" + path), method)
        for route, path in zip(api_routes(), paths_by_route_name(), strict=True)
        for method in route.methods
    }
    written = {
        (PLACE.sub("{}", path), method.upper())
        for path, item in document()["paths"].items()
        for method in item
        if method != "parameters"
    }
    assert written == served


def paths_by_route_name() -> list[str]:
    """Paths in the order of `api_routes`."""
    by_name: dict[str, str] = {}

    def walk(resolver: Any, prefix: str) -> None:
        for part in resolver.url_patterns:
            path = prefix + str(part.pattern)
            if isinstance(part, URLResolver):
                walk(part, path)
            elif path.startswith("api/v1/"):
                by_name[part.name] = path

    walk(get_resolver(), "")
    return [by_name[route.name] for route in api_routes()]


def test_no_operation_is_without_words_or_twice_of_one_name() -> None:
    operations = [operation for item in document()["paths"].values() for operation in item.values()]
    names = [operation["operationId"] for operation in operations]
    assert len(names) == len(set(names))
    assert [operation["operationId"] for operation in operations if not operation.get("description")] == []


def test_nothing_says_that_it_is_old_or_for_tests() -> None:
    assert [path for path in routes() if re.search(r"v0|v2|beta|debug|internal|\bold\b|deprecated", path)] == []
    assert not any(operation.get("deprecated") for item in document()["paths"].values() for operation in item.values())
