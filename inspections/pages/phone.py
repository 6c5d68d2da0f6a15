"""What the page that walks a sheet asks of the service: its shell, its worker, what it takes along, where it sends.

The views that write are those of the API with another doorkeeper (inspections.pages.door); they call the same services.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.templatetags.static import static
from django.urls import reverse
from django.views import View
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now
from fleet.http.views import CommandView
from fleet.models import Fleet, Role, Trip, Unit
from fleet.pages.reader import reader_of
from fleet.pages.views import PageView
from fleet.trips.selectors import unit_of
from inspections.forms import blank_form, form_document
from inspections.pages.door import PageSession
from inspections.pages.filling import with_words
from inspections.photo_views import PhotoView
from inspections.selectors import newest_sheets
from inspections.views import INSPECTORS, InspectionView

AHEAD = timedelta(hours=36)
"""Units of trips that load this soon are taken along."""
MOST_TAKEN = 30
MOST_UNITS = 2_000
_SCRIPTS = ("answers", "build", "choose", "item", "outbox", "picture", "steps", "store", "waiting", "walk")
SHELL_ASSETS = (
    "fleet/page.css", "fleet/page.js", "fleet/mark.svg", "django_htmx/htmx-2.min.js", "inspections/walk.css",
    *(f"inspections/{name}.js" for name in _SCRIPTS),
)  # fmt: skip


class WalkView(PageView):
    """The shell of the page that walks a sheet. The worker keeps it, so it holds nothing of a unit."""

    roles = INSPECTORS
    template = "inspections/walk.html"
    section = "inspections.inspections"

    def get(self, request: HttpRequest) -> HttpResponse:
        return self.page()


class WorkerView(View):
    """The service worker. It stands in /inspections/, so it has to do with these pages and no others."""

    def get(self, request: HttpRequest) -> HttpResponse:
        addresses = [reverse("page-walk"), *(static(name) for name in SHELL_ASSETS)]
        settings = {"version": shell_version(), "shell": addresses[0], "assets": addresses[1:]}
        script = f"const KEPT = {json.dumps(settings)};\n{_text('inspections/worker.js')}"
        response = HttpResponse(script, content_type="text/javascript; charset=utf-8")
        response["Cache-Control"] = "no-cache"
        # The policy of the worker is its own, not that of the page.
        response["Content-Security-Policy"] = "default-src 'none'; script-src 'self'; connect-src 'self'"
        return response


@cache
def shell_version() -> str:
    """Changes with any file of the shell: a browser then keeps the new files and drops the old ones together."""
    digest = hashlib.sha256(_text("inspections/worker.js").encode())
    for name in SHELL_ASSETS:
        digest.update(_text(name).encode())
    return digest.hexdigest()[:16]


def _text(name: str) -> str:
    found = finders.find(name)
    if not isinstance(found, str):
        raise FileNotFoundError(name)
    with open(found, encoding="utf-8") as file:
        return file.read()


class PageCommand(CommandView):
    """A small document for the page's script."""

    authentication_classes = (PageSession,)
    schema = None
    roles = {"GET": INSPECTORS}


class PassView(PageCommand):
    """Who is signed in, and a fresh form token: asked for before anything that waited is sent."""

    def get(self, request: Request) -> Response:
        member = self.member
        return Response({"member": member.pk, "name": str(member), "token": get_token(request._request)})


class TakeAlongView(PageCommand):
    """What a person can choose from without a connection: units, coming trips, sheets, and which forms to keep."""

    def get(self, request: Request) -> Response:
        now = db_now()
        trips = list(_coming(self.fleet, now))
        reader = reader_of(self.member, now=now)
        soon = [trip["unit"] for trip in trips if trip["unit"] and trip["soon"]]
        return Response(
            {
                "units": list(
                    Unit.objects.for_fleet(self.fleet).order_by("number").values_list("number", flat=True)[:MOST_UNITS]
                ),
                "trips": trips,
                "sheets": [with_words(blank_form(sheet), reader) for sheet in newest_sheets(self.fleet)],
                "keep": list(dict.fromkeys(soon))[:MOST_TAKEN],
            }
        )


def _coming(fleet: Fleet, now: datetime) -> Iterator[dict[str, Any]]:
    rows = (
        Trip.objects.for_fleet(fleet).filter(state=Trip.State.PLANNED).select_related("planned_unit", "assigned_unit")
    )
    for trip in rows.order_by("loading_at", "pk")[:200]:
        unit = trip.assigned_unit or trip.planned_unit
        yield {
            "reference": trip.reference,
            "unit": unit and unit.number,
            "loading_at": trip.loading_at,
            "soon": trip.loading_at <= now + AHEAD,
        }


class FormForPageView(PageCommand):
    """One sheet for one unit, in the reader's units."""

    query_parameters = {
        "unit": {"schema": {"type": "string"}, "description": "Number of the unit."},
        "sheet": {"schema": {"type": "string"}, "description": "Key of the sheet."},
    }

    def get(self, request: Request) -> Response:
        now = db_now()
        unit = unit_of(self.fleet.pk, request.query_params.get("unit", ""))
        form = form_document(self.fleet, unit, request.query_params.get("sheet", "pre-trip"), now=now)
        return Response(with_words(form, reader_of(self.member, now=now)))


class SendView(InspectionView):
    """Files an inspection that a page has gathered, once per Idempotency-Key. A draft announces that somebody is at
    the unit, so that it may be off meanwhile; the page takes it back when the signed one is filed."""

    authentication_classes = (PageSession,)
    schema = None
    roles = {"POST": INSPECTORS, "DELETE": INSPECTORS}


class SendPhotoView(PhotoView):
    """Takes a photo, once per Idempotency-Key."""

    authentication_classes = (PageSession,)
    schema = None
    roles = {"POST": frozenset({Role.INSPECTOR, Role.MANAGER})}
