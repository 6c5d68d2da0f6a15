"""Every route of /api/v1/ as the URL resolver knows it: what the isolation and role tests walk."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.urls import URLResolver, get_resolver, reverse

API = "api/v1/"
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


@dataclass(frozen=True, slots=True)
class Route:
    """One route: its name, the methods it takes, who may use each, and what its URL is made of."""

    name: str
    methods: tuple[str, ...]
    roles: Any
    parameters: tuple[str, ...]

    def url(self, values: Mapping[str, Any]) -> str:
        return reverse(self.name, kwargs={name: values[name] for name in self.parameters})


def api_routes() -> list[Route]:
    return sorted(_walk(get_resolver(), ""), key=lambda route: route.name)


def _walk(resolver: Any, prefix: str) -> Iterator[Route]:
    for part in resolver.url_patterns:
        path = prefix + str(part.pattern)
        if isinstance(part, URLResolver):
            yield from _walk(part, path)
        elif path.startswith(API):
            view = getattr(part.callback, "cls", None) or part.callback.view_class
            actions = getattr(part.callback, "actions", None)
            taken = (
                actions if actions is not None else [name.lower() for name in METHODS if hasattr(view, name.lower())]
            )
            methods = tuple(name for name in METHODS if name.lower() in taken)
            yield Route(part.name, methods, view.roles, tuple(part.pattern.converters))
