"""The routes of the pages, as the code has them: those whose view is a PageView, and the button that signs out."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

from fleet.pages.account import SignOutView
from fleet.pages.views import PageView


def page_routes() -> dict[str, Any]:
    """Path patterns and their views."""
    return dict(_walk(get_resolver(), ""))


def _walk(resolver: Any, prefix: str) -> Iterator[tuple[str, Any]]:
    for part in resolver.url_patterns:
        path = prefix + str(part.pattern)
        if isinstance(part, URLResolver):
            yield from _walk(part, path)
        elif isinstance(part, URLPattern):
            view = getattr(part.callback, "view_class", None)
            if view is not None and issubclass(view, PageView | SignOutView):
                yield path, view
