"""Every refusal and failure of the service as an RFC 9457 problem document.

`exception_handler` serves the views of Django REST Framework, the `handler…` functions serve everything that
fails before or beside them (unknown routes, refused hosts, crashes). All of them go through `problem_body`.
"""

import logging
import sys
from collections.abc import Callable, Mapping
from functools import wraps
from http import HTTPStatus
from typing import Any

import orjson
from django.conf import settings
from django.core.exceptions import BadRequest, PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.core.signals import got_request_exception
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.utils.encoding import escape_uri_path
from rest_framework import exceptions as drf
from rest_framework.response import Response
from rest_framework.views import set_rollback

from fleet.errors import FieldError, InvalidInput, StorageFull, WarmgateError, is_storage_full
from fleet.http.context import current_request_id
from fleet.http.pointers import field_errors
from fleet.http.problem_types import PROBLEMS, ProblemType

__all__ = ["PROBLEMS", "ProblemType", "exception_handler", "problem_body", "problem_response"]

logger = logging.getLogger("warmgate.problems")

PROBLEM_JSON = "application/problem+json"
_RETRY_S = {"unavailable": 5, "storage-full": 60}

_SAME_401 = "Send `Authorization: Bearer <token>` with a token that is known, unexpired and not revoked."
_INTERNAL = "An error in the service stopped this request. Nothing was stored. The request id finds it in our log."

# The exception classes of the framework that say no more than their code.
_BY_CLASS: tuple[tuple[type[Exception], str, str], ...] = (
    (drf.NotAuthenticated, "not-authenticated", _SAME_401),
    (drf.AuthenticationFailed, "not-authenticated", _SAME_401),
    (drf.PermissionDenied, "not-allowed", "Your role may not do this."),
    (PermissionDenied, "not-allowed", "Your role may not do this."),
    (drf.NotFound, "not-found", "There is no such object or route."),
    (Http404, "not-found", "There is no such object or route."),
    (drf.ParseError, "malformed-body", ""),
    (drf.UnsupportedMediaType, "unsupported-media-type", ""),
    (drf.NotAcceptable, "not-acceptable", "This route answers with application/json."),
    (drf.MethodNotAllowed, "method-not-allowed", ""),
    (drf.Throttled, "rate-limited", ""),
    (RequestDataTooBig, "too-large", "The body is larger than this service reads."),
    (SuspiciousOperation, "bad-request", "The request was refused before it was read."),
    (BadRequest, "bad-request", "The request was refused before it was read."),
    (
        OperationalError,
        "unavailable",
        "The database does not answer at this moment. Repeat the request later.",
    ),
    (InterfaceError, "unavailable", "The database does not answer at this moment. Repeat the request later."),
)


def problem_body(
    code: str,
    detail: str = "",
    *,
    instance: str,
    errors: tuple[FieldError, ...] | list[FieldError] = (),
    context: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """The document itself. `instance` is the path that was asked for, without its query.

    A code without a row in `PROBLEMS` is a mistake of ours and raises KeyError.
    """
    kind = PROBLEMS[code]
    body: dict[str, Any] = {"type": kind.uri, "title": kind.title, "status": kind.status}
    body["detail"] = detail or kind.title
    body["instance"] = escape_uri_path(instance)
    body["request_id"] = current_request_id()
    if errors:
        body["errors"] = [{"pointer": e.pointer, "in": e.where, "code": e.code, "detail": e.detail} for e in errors]
    body.update(context or {})
    return body


def problem_response(
    request: HttpRequest,
    code: str,
    detail: str = "",
    *,
    headers: Mapping[str, str] | None = None,
    **context: Any,
) -> HttpResponse:
    """A problem from plain Django code: handlers, middleware, views outside Django REST Framework."""
    body = problem_body(code, detail, instance=request.path, context=context)
    return HttpResponse(
        orjson.dumps(body, default=str), status=body["status"], content_type=PROBLEM_JSON, headers=headers
    )


def exception_handler(exc: Exception, context: Mapping[str, Any]) -> HttpResponseBase | None:
    """Answer whatever a view raised. Set as EXCEPTION_HANDLER of Django REST Framework."""
    request = context["request"]
    code, detail, errors, extra = describe(exc)
    if PROBLEMS[code].status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        _report(exc, code, request)
    set_rollback()
    body = problem_body(code, detail, instance=request.path, errors=errors, context=extra)
    return Response(body, body["status"], headers=_headers(exc, code, extra), content_type=PROBLEM_JSON)


def describe(exc: Exception) -> tuple[str, str, tuple[FieldError, ...], dict[str, Any]]:
    """The code, detail, field errors and extra members that answer `exc`. Unknown errors say nothing of
    themselves."""
    if isinstance(exc, WarmgateError):
        if exc.code not in PROBLEMS:
            logger.error("error code without a row in PROBLEMS: %s", exc.code)
            return "internal", _INTERNAL, (), {}
        return exc.code, exc.detail, exc.errors, exc.context
    if isinstance(exc, drf.ValidationError):
        return InvalidInput.code, InvalidInput.default_detail, tuple(field_errors(exc.detail)), {}
    if is_storage_full(exc):
        return StorageFull.code, StorageFull.default_detail, (), {}
    for kind, code, detail in _BY_CLASS:
        if isinstance(exc, kind):
            return code, detail or str(exc), (), {}
    if isinstance(exc, drf.APIException) and exc.status_code < HTTPStatus.INTERNAL_SERVER_ERROR:
        return "bad-request", str(exc.detail), (), {}
    return "internal", _INTERNAL, (), {}


def _headers(exc: Exception, code: str, extra: Mapping[str, Any]) -> dict[str, str]:
    """Headers that belong to the refusal. Allow is set by the view itself for every answer it gives."""
    headers: dict[str, str] = {}
    if challenge := getattr(exc, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    wait_s = extra.get("retry_after_s", getattr(exc, "wait", None))
    if wait_s is None:
        wait_s = _RETRY_S.get(code)
    if wait_s is not None:
        headers["Retry-After"] = str(max(1, -int(-wait_s // 1)))
    return headers


def _report(exc: Exception, code: str, request: Any) -> None:
    """Log a failure of ours, and tell Django's signal as Django itself does (the test client re-raises from
    it)."""
    logger.error("%s %s failed: %s", request.method, request.path, code, exc_info=exc)
    if code == "internal" and sys.exc_info()[1] is not None:
        got_request_exception.send(sender=None, request=getattr(request, "_request", request))


def handler400(request: HttpRequest, exception: Exception) -> HttpResponse:
    """A request that Django refuses: a bad host, a suspicious path, too many fields."""
    code, detail, _, _ = describe(exception)
    if PROBLEMS[code].status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        code, detail = "bad-request", ""
    return problem_response(request, code, detail)


def handler403(request: HttpRequest, exception: Exception) -> HttpResponse:
    """A view outside the API refused this caller."""
    return problem_response(request, "not-allowed", "You may not do this.")


def handler404(request: HttpRequest, exception: Exception) -> HttpResponse:
    """No route matches. Django's own message lists the routes; ours does not."""
    return problem_response(request, "not-found", "There is no such object or route.")


def handler500(request: HttpRequest) -> HttpResponse:
    """A crash outside the views of the API. Django has logged it."""
    return problem_response(request, "internal", _INTERNAL)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form without its token (CSRF_FAILURE_VIEW)."""
    return problem_response(request, "not-allowed", "The form's token is missing or old. Load the page again.")


def read_only(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Decorate a plain Django view that is only read: other methods are a 405 problem."""

    @wraps(view)
    def wrapped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.method in {"GET", "HEAD"}:
            return view(request, *args, **kwargs)
        headers = {"Allow": "GET, HEAD"}
        return problem_response(request, "method-not-allowed", "This route is only read.", headers=headers)

    return wrapped


@read_only
def problem_page(request: HttpRequest, slug: str) -> HttpResponse:
    """The page behind a problem's `type`, from the repository's own docs, so that the link works offline."""
    if slug not in {kind.slug for kind in PROBLEMS.values()}:
        raise Http404
    text = (settings.BASE_DIR / "docs" / "problems" / f"{slug}.md").read_text(encoding="utf-8")
    return HttpResponse(text, content_type="text/markdown; charset=utf-8")
