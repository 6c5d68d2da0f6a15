"""Signing in and out, and how a person wants to read."""

from __future__ import annotations

from zoneinfo import available_timezones

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views import View
from rest_framework.exceptions import Throttled

from fleet.clock import db_now
from fleet.models import Member
from fleet.models.members import Look, Scale, Volume
from fleet.pages import signing_in
from fleet.pages.reader import stranger
from fleet.pages.views import PageView
from fleet.tokens.service import LoginRefused

_PLACES = tuple(
    f"{place}/"
    for place in (
        "Africa", "America", "Antarctica", "Arctic", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific",
    )
)  # fmt: skip


class SignInForm(forms.Form):
    username = forms.CharField(max_length=150)
    password = forms.CharField(max_length=1024, strip=False)


class SignInView(View):
    """Name and password. What is wrong with them is not said, only that they do not fit."""

    def get(self, request: HttpRequest) -> HttpResponse:
        if isinstance(request.user, Member):
            return redirect(_next(request, request.user))
        return self._page(request)

    def post(self, request: HttpRequest) -> HttpResponse:
        form = SignInForm(request.POST)
        if not form.is_valid():
            return self._page(request, "Type your name and your password.", status=422)
        said = form.cleaned_data
        try:
            member = signing_in.sign_in(request, **said, now=db_now())
        except Throttled as slow:
            minutes = -int(-(getattr(slow, "wait", None) or 60) // 60)
            return self._page(request, f"Too many tries. Wait {minutes} min, then try again.", status=429)
        except LoginRefused:
            return self._page(request, "This name and this password do not fit together.", status=422)
        return redirect(_next(request, member))

    def _page(self, request: HttpRequest, problem: str = "", *, status: int = 200) -> HttpResponse:
        context = {
            "reader": stranger(db_now()),
            "problem": problem,
            "username": request.POST.get("username", "")[:150],
            "next": _asked(request),
        }
        return render(request, "fleet/sign_in.html", context, status=status)


def _asked(request: HttpRequest) -> str:
    return request.POST.get("next") or request.GET.get("next", "")


def _next(request: HttpRequest, member: Member) -> str:
    """Where the person wanted to go, if that is a page of ours."""
    asked = _asked(request)
    if url_has_allowed_host_and_scheme(asked, {request.get_host()}, require_https=request.is_secure()):
        return asked
    return reverse("page-departures") if member.fleet_id is not None else f"/{settings.ADMIN_PATH}"


class SignOutView(View):
    """Ends the session. A link cannot do it, only the button."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponse:
        signing_in.sign_out(request, now=db_now())
        return redirect(settings.LOGIN_URL)


class PreferencesForm(forms.Form):
    scale = forms.ChoiceField(choices=Scale.choices)
    volume = forms.ChoiceField(choices=Volume.choices)
    look = forms.ChoiceField(choices=Look.choices)
    time_zone = forms.CharField(required=False, max_length=64)

    def clean_time_zone(self) -> str:
        name: str = self.cleaned_data["time_zone"]
        if name and name not in zone_names():
            raise forms.ValidationError("There is no such time zone.")
        return name


def zone_names() -> list[str]:
    """Zones by place, without the aliases that only old systems use."""
    places = {
        "Africa",
        "America",
        "Antarctica",
        "Arctic",
        "Asia",
        "Atlantic",
        "Australia",
        "Europe",
        "Indian",
        "Pacific",
    }
    return sorted({name for name in available_timezones() if name.split("/")[0] in places} | {"UTC"})


class PreferencesView(PageView):
    """How the signed-in person reads."""

    template = "fleet/preferences.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page()

    def post(self, request: HttpRequest) -> HttpResponse:
        form = PreferencesForm(request.POST)
        if not form.is_valid():
            return self._page("Not saved: something in the form was not understood.", status=422)
        for name, value in form.cleaned_data.items():
            setattr(self.member, name, value)
        self.member.save(update_fields=list(form.cleaned_data))
        self.say("Saved.")
        return redirect("page-preferences")

    def _page(self, problem: str = "", *, status: int = 200) -> HttpResponse:
        choices = {"scales": Scale.choices, "volumes": Volume.choices, "looks": Look.choices, "zones": zone_names()}
        return self.page(choices | {"problem": problem}, status=status)
