"""A person signs in to the pages, or out. Entries of the audit, like giving out a token."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth import authenticate, login, logout
from django.contrib.auth.backends import ModelBackend
from django.db import transaction
from django.http import HttpRequest

from fleet.http.throttle import address_of, allow_login
from fleet.models import Member, Role
from fleet.records.audit import record_act
from fleet.tokens.service import LoginRefused

SESSION_LIFE = {
    Role.DISPATCHER: timedelta(hours=12),
    Role.INSPECTOR: timedelta(days=14),
    Role.MANAGER: timedelta(days=7),
}
"""A desk is shared and a shift is short; an inspector's phone must still know its owner after days in a yard."""
OPERATOR_LIFE = timedelta(hours=2)


class MemberBackend(ModelBackend):
    """Finds the member of a session together with the fleet, in one statement."""

    def get_user(self, user_id: int) -> Any:
        member = Member.objects.select_related("fleet").filter(pk=user_id).first()
        return member if member is not None and self.user_can_authenticate(member) else None


def sign_in(request: HttpRequest, *, username: str, password: str, now: datetime) -> Member:
    """Begins a session. *Raises* LoginRefused, Throttled (the tries are the same ones that the API's log-in counts)."""
    allow_login(username=username, address=address_of(request))
    member = authenticate(request, username=username, password=password)
    if not isinstance(member, Member) or not may_sign_in(member):
        raise LoginRefused
    with transaction.atomic():
        login(request, member)
        life = SESSION_LIFE[Role(member.role)] if member.fleet_id is not None else OPERATOR_LIFE
        request.session.set_expiry(int(life.total_seconds()))
        if member.fleet_id is not None:
            record_act(member, act="session.began", subject=member, at=now)
    return member


def may_sign_in(member: Member) -> bool:
    """People of a fleet, and the host's operators; an integrator is a machine and has its token."""
    return member.is_staff if member.fleet_id is None else member.role in SESSION_LIFE


def sign_out(request: HttpRequest, *, now: datetime) -> None:
    """Ends the session at once, also for whoever has copied its cookie."""
    member = request.user
    if isinstance(member, Member) and member.fleet_id is not None:
        record_act(member, act="session.ended", subject=member, at=now)
    logout(request)
