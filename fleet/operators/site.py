"""Who may configure: operators of the host, who belong to no fleet. They sign in as everybody does."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from fleet.models import Member


def is_operator(member: Any) -> bool:
    """Active, of the staff, and of no fleet: a member of a fleet never sees another one's configuration."""
    return isinstance(member, Member) and member.is_active and member.is_staff and member.fleet_id is None


class OperatorSite(AdminSite):
    site_header = "warmgate: configuration"
    site_title = "warmgate"
    index_title = "Fleets, units, people and records"
    enable_nav_sidebar = True
    site_url = None

    def register(self, model_or_iterable: Any, admin_class: Any = None, **options: Any) -> None:
        """Takes our own registers only. Other packages bring theirs (groups, tokens), which would write past the
        services and show what nobody should see."""
        if getattr(admin_class, "for_operators", False):
            super().register(model_or_iterable, admin_class, **options)

    def has_permission(self, request: HttpRequest) -> bool:
        return is_operator(request.user)

    def login(self, request: HttpRequest, extra_context: Any = None) -> HttpResponse:
        """The sign-in page of everybody, with its counted tries; a member of a fleet is sent to the departures."""
        if isinstance(request.user, Member):
            return redirect("page-departures")
        wanted = request.GET.get("next", reverse("admin:index"))
        return redirect(f"{reverse('page-sign-in')}?{urlencode({'next': wanted})}")
