"""Which paths are for people: those that are not the machines'."""

from __future__ import annotations

from django.http import HttpRequest

MACHINES = ("/api/", "/livez", "/readyz", "/metrics")


def for_machines(request: HttpRequest) -> bool:
    """Here there is no session and no cookie: only tokens count."""
    return request.path.startswith(MACHINES)


def wants_page(request: HttpRequest) -> bool:
    """Whether a refusal should be a page: a browser asked, and not the API."""
    return not for_machines(request) and "text/html" in request.headers.get("Accept", "")
