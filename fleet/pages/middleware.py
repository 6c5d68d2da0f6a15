"""Django's sessions, members and messages, for pages only. A request to the API never has a session, whatever cookie it
brings: only a token says who is calling there."""

from __future__ import annotations

from django.contrib.auth.middleware import AuthenticationMiddleware
from django.contrib.messages.middleware import MessageMiddleware
from django.contrib.sessions.middleware import SessionMiddleware
from django.http import HttpRequest, HttpResponse

from fleet.pages.paths import for_machines


class PageSessionMiddleware(SessionMiddleware):
    def process_request(self, request: HttpRequest) -> None:
        if not for_machines(request):
            super().process_request(request)

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        if not hasattr(request, "session"):
            return response
        return super().process_response(request, response)


class PageMemberMiddleware(AuthenticationMiddleware):
    def process_request(self, request: HttpRequest) -> None:
        if not for_machines(request):
            super().process_request(request)


class PageMessageMiddleware(MessageMiddleware):
    def process_request(self, request: HttpRequest) -> None:
        if not for_machines(request):
            super().process_request(request)
