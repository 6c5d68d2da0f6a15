"""The routes of the pages, as the code has them: those whose view is a PageView, the button that signs out, and what
scripts of pages ask for (views behind a page's session, and the worker)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

from fleet.pages.account import SignOutView
from fleet.pages.views import PageView
from inspections.pages.door import PageSession
from inspections.pages.phone import WorkerView


def page_routes() -> dict[str, Any]:
    """Path patterns and their views."""
    return dict(_walk(get_resolver(), ""))


def _walk(resolver: Any, prefix: str) -> Iterator[tuple[str, Any]]:
    for part in resolver.url_patterns:
        path = prefix + str(part.pattern)
        if isinstance(part, URLResolver):
            yield from _walk(part, path)
        elif isinstance(part, URLPattern):
            view = getattr(part.callback, "view_class", None) or getattr(part.callback, "cls", None)
            if view is not None and _of_pages(view):
                yield path, view


def _of_pages(view: Any) -> bool:
    return issubclass(view, PageView | SignOutView | WorkerView) or PageSession in getattr(
        view, "authentication_classes", ()
    )
