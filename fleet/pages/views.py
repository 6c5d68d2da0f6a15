"""What every page stands on: a signed-in member of a fleet, a role, the reader's preferences, and one `now`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, ClassVar
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views import View

from fleet.clock import db_now
from fleet.errors import WarmgateError
from fleet.http.context import bind_member
from fleet.models import Fleet, Member, Role
from fleet.pages.errors import error_page, page_of
from fleet.pages.panels import PEOPLE, nav_for
from fleet.pages.reader import Reader, reader_of


class PageView(View):
    """A page of one fleet. Rows are read with `for_fleet(self.fleet)`; another fleet's are 404.

    `roles` are those who may look; `writers` those who may send a form of this page (default: the same).
    """

    roles: ClassVar[frozenset[Role]] = PEOPLE
    writers: ClassVar[frozenset[Role] | None] = None
    template: ClassVar[str] = ""
    section: ClassVar[str] = ""
    """Id of the navigation entry this page belongs to."""

    member: Member
    fleet: Fleet
    now: datetime
    reader: Reader

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        member = request.user
        if not isinstance(member, Member):
            return to_sign_in(request)
        if member.fleet is None:
            return error_page(request, 403, "You are an operator of this host and belong to no fleet.")
        bind_member(member_id=member.pk, fleet_id=member.fleet.pk)
        admitted = self.roles if request.method in ("GET", "HEAD") or self.writers is None else self.writers
        if member.role not in admitted:
            return error_page(request, 403)
        self.member, self.fleet, self.now = member, member.fleet, db_now()
        self.reader = reader_of(member, now=self.now)
        request.reader = self.reader  # type: ignore[attr-defined]
        try:
            return super().dispatch(request, *args, **kwargs)
        except WarmgateError as error:
            return page_of(request, error)

    def context(self) -> dict[str, Any]:
        """What every template can count on."""
        return {
            "member": self.member,
            "fleet": self.fleet,
            "reader": self.reader,
            "now": self.now,
            "nav": nav_for(self.member.role),
            "section": self.section,
        }

    def page(self, context: Mapping[str, Any] | None = None, *, template: str = "", status: int = 200) -> HttpResponse:
        return render(self.request, template or self.template, self.context() | dict(context or {}), status=status)

    def say(self, words: str) -> None:
        """A line at the top of the next page."""
        messages.success(self.request, words)

    @property
    def partial(self) -> bool:
        """Whether a script of the page asks for a part of it only."""
        headers = self.request.headers
        return headers.get("HX-Request") == "true" and headers.get("HX-History-Restore-Request") != "true"


def to_sign_in(request: HttpRequest) -> HttpResponse:
    """To the sign-in page, and back afterwards. A script that refreshes a part is told to move the whole page."""
    address = f"{reverse(settings.LOGIN_URL)}?{urlencode({'next': _wanted(request)})}"
    if request.headers.get("HX-Request") == "true":
        return HttpResponse(status=204, headers={"HX-Redirect": address})
    return redirect(address)


def _wanted(request: HttpRequest) -> str:
    """Where to go on afterwards: a form that was sent cannot be sent again by a link."""
    return request.get_full_path() if request.method in ("GET", "HEAD") else "/"
