"""Lets a signed-in person's page call a view of the API: the same view, another way of saying who calls.

The API itself never looks at a session. These views stand under /inspections/ only, and ask for the form token (CSRF)
with everything that writes.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

from rest_framework.authentication import SessionAuthentication
from rest_framework.request import Request

from fleet.http.context import bind_member
from fleet.models import Member


@dataclass(frozen=True, slots=True)
class Sitting:
    """What stands where a token would: one signed-in browser, counted by quotas under this name."""

    pk: str


class PageSession(SessionAuthentication):
    """The member of the page's session, or nobody (401)."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        member = getattr(request._request, "user", None)
        if not isinstance(member, Member) or not member.is_active or member.fleet is None:
            return None
        self.enforce_csrf(request)
        bind_member(member_id=member.pk, fleet_id=member.fleet.pk)
        key = request._request.session.session_key or ""
        return member, Sitting(hashlib.sha256(key.encode()).hexdigest())

    def authenticate_header(self, request: Request) -> str:
        return "Session"
