"""Refusals as pages for people; whoever asks the API, or asks for no page, gets the problem document."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.errors import WarmgateError
from fleet.http import problems
from fleet.http.context import current_request_id
from fleet.pages.paths import wants_page


@dataclass(frozen=True, slots=True)
class Words:
    """What a person reads."""

    title: str
    text: str


WORDS = {
    400: Words("This request could not be read", "Go back and try it again."),
    403: Words("This is not for your role", "Ask your manager if you should be able to see or do this."),
    404: Words("Nothing is here", "There is no such page, or it belongs to another fleet."),
    405: Words("Not possible here", "This page cannot be used in that way."),
    409: Words("Not possible now", "The present state does not permit this."),
    412: Words("Somebody was faster", "What you were looking at has changed. Look at it again, then decide."),
    422: Words("Something in it was refused", "Go back, correct it, and send it again."),
    429: Words("Too many tries", "Wait a moment, then try again."),
    500: Words("An error in the service stopped this", "Nothing was stored."),
    503: Words("The service cannot answer at this moment", "Try again in a few seconds."),
}


def error_page(request: HttpRequest, status: int, text: str = "") -> HttpResponse:
    """A page that says what happened. It reads no row: it must also work while the database does not answer."""
    words = WORDS.get(status, WORDS[500])
    context = {
        "title": words.title,
        "text": text or words.text,
        "status": status,
        "request_id": current_request_id() or "",
    }
    return render(request, "fleet/error.html", context, status=status)


def page_of(request: HttpRequest, error: Exception) -> HttpResponse:
    """The page for an error that a page's view raised."""
    code, detail, _, _ = problems.describe(error)
    status = problems.PROBLEMS[code].status
    return error_page(request, status, detail if isinstance(error, WarmgateError) else "")


def handler400(request: HttpRequest, exception: Exception) -> HttpResponse:
    return error_page(request, 400) if wants_page(request) else problems.handler400(request, exception)


def handler403(request: HttpRequest, exception: Exception) -> HttpResponse:
    return error_page(request, 403) if wants_page(request) else problems.handler403(request, exception)


def handler404(request: HttpRequest, exception: Exception) -> HttpResponse:
    return error_page(request, 404) if wants_page(request) else problems.handler404(request, exception)


def handler500(request: HttpRequest) -> HttpResponse:
    return error_page(request, 500) if wants_page(request) else problems.handler500(request)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form without its token, or one from before the last sign-in."""
    if not wants_page(request):
        return problems.csrf_failure(request, reason)
    return error_page(request, HTTPStatus.FORBIDDEN, "This form is too old. Load the page again, then repeat it.")
