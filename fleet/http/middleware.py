"""Around every request: its id, one log line, its metrics, and the headers that browsers act on."""

import logging
import time
from collections.abc import Callable
from contextlib import ExitStack
from typing import Any

from django.db import connections
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed

from fleet.http.context import begin, current, end, request_id_from
from fleet.http.metrics import observe_request
from fleet.http.problems import problem_response

logger = logging.getLogger("warmgate.requests")

_QUIET = frozenset({"/livez", "/readyz", "/metrics"})

# Answers of the API are data: a browser that opens one may load and run nothing.
_DATA_POLICY = "default-src 'none'; frame-ancestors 'none'"
# Pages load and run their own files only: nothing inline, nothing from elsewhere.
_PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)


class _StatementCounter:
    """Counts the statements of a request, on whatever database they run."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        self.count += 1
        return execute(sql, params, many, context)


class RequestContextMiddleware:
    """First in MIDDLEWARE, so that refusals of the other middleware are numbered and logged too."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request_id = request_id_from(request.headers.get("X-Request-ID", ""))
        token = begin(request_id)
        started = time.perf_counter()
        counter = _StatementCounter()
        try:
            with ExitStack() as stack:
                for connection in connections.all():
                    stack.enter_context(connection.execute_wrapper(counter))
                response = self.get_response(request)
            if isinstance(response, HttpResponseNotAllowed):
                response = _as_problem(request, response)
            response["X-Request-ID"] = request_id
            protect(response)
            _report(request, response, seconds=time.perf_counter() - started, statements=counter.count)
            return response
        finally:
            end(token)


def _as_problem(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Django's own 405 of a plain view has an empty HTML body; the Allow header is what matters of it."""
    headers = {"Allow": response["Allow"]}
    return problem_response(request, "method-not-allowed", "See the Allow header.", headers=headers)


def protect(response: HttpResponse) -> None:
    """The headers that browsers and caches act on, where the view has not set its own."""
    page = response.get("Content-Type", "").startswith("text/html")
    headers = response.headers
    headers.setdefault("X-Content-Type-Options", "nosniff")
    headers.setdefault("X-Frame-Options", "DENY")
    headers.setdefault("Content-Security-Policy", _PAGE_POLICY if page else _DATA_POLICY)
    context = current()
    if context is not None and context.rate_headers is not None:
        for name, value in context.rate_headers.items():
            headers[name] = value
    if context is not None and context.member_id is not None:
        # What one member may see must not lie in a shared cache; with an ETag the caller may keep and
        # revalidate it.
        headers.setdefault("Cache-Control", "private, no-cache" if "ETag" in headers else "no-store")


def _report(request: HttpRequest, response: HttpResponse, *, seconds: float, statements: int) -> None:
    match = request.resolver_match
    route = f"/{match.route}" if match is not None else "unmatched"
    observe_request(method=request.method or "", route=route, status=response.status_code, seconds=seconds)
    fields = {
        "method": request.method,
        "route": route,
        "status": response.status_code,
        "duration_ms": round(seconds * 1000, 2),
        "sql_count": statements,
    }
    level = logging.DEBUG if request.path in _QUIET else logging.INFO
    logger.log(level, "request", extra={"fields": fields})
