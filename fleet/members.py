"""Founds fleets, admits members and gives out their tokens."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from knox.models import get_token_model

from fleet.errors import Conflict
from fleet.models import Fleet, Member, PolicyRow, Role, TokenCard, TokenOrigin
from fleet.records.audit import record_act


def found_fleet(*, name: str, slug: str, owner_email: str, time_zone: str = "UTC") -> Fleet:
    """A new fleet with the default policy."""
    with transaction.atomic():
        fleet = Fleet.objects.create(name=name, slug=slug, owner_email=owner_email, time_zone=time_zone)
        PolicyRow.objects.create(fleet=fleet)
    return fleet


def admit_member(fleet: Fleet, *, username: str, name: str, role: Role, email: str = "") -> Member:
    """A member who can sign in by token only, until a password is set."""
    member = Member(fleet=fleet, username=username, name=name, role=role, email=email)
    member.set_unusable_password()
    member.save()
    return member


def admit_by(by: Member, said: Mapping[str, Any], *, now: datetime) -> Member:
    """An operator admits a member, with a password if one is given. *Raises* Conflict when the name is taken."""
    with transaction.atomic():
        if Member.objects.filter(username=said["username"]).exists():
            raise Conflict(f"The name {said['username']!r} is taken.")
        known = {name: said.get(name, "") for name in ("username", "name", "email")}
        member = admit_member(said["fleet"], role=Role(said["role"]), **known)
        record_act(by, act="member.admitted", subject=member, at=now, content=known | {"role": member.role})
        if said.get("new_password"):
            _set_password(member, said["new_password"], by=by, now=now)
        return member


MEMBER_CHANGES = frozenset({"name", "role", "email", "is_active"})


def change_member(pk: int, said: Mapping[str, Any], *, by: Member, now: datetime) -> Member:
    """Changes what may change of a member: never the name they sign in with, never their fleet. A new role counts from
    the next request on; who is not active any more is refused at once."""
    with transaction.atomic():
        member = Member.objects.select_for_update().get(pk=pk, fleet__isnull=False)
        changes = {name: value for name, value in said.items() if name in MEMBER_CHANGES}
        for name, value in changes.items():
            setattr(member, name, value)
        if changes:
            member.save(update_fields=list(changes))
            record_act(by, act="member.changed", subject=member, at=now, content=changes)
        if said.get("new_password"):
            _set_password(member, said["new_password"], by=by, now=now)
        return member


def _set_password(member: Member, password: str, *, by: Member, now: datetime) -> None:
    member.set_password(password)
    member.save(update_fields=["password"])
    record_act(by, act="member.password_set", subject=member, at=now)


FLEET_CHANGES = frozenset({"name", "time_zone", "owner_email"})


def change_fleet(pk: int, said: Mapping[str, Any], *, by: Member, now: datetime) -> Fleet:
    """Changes a fleet's name, clock or owner's address; its slug stays."""
    with transaction.atomic():
        fleet = Fleet.objects.select_for_update().get(pk=pk)
        changes = {name: value for name, value in said.items() if name in FLEET_CHANGES}
        for name, value in changes.items():
            setattr(fleet, name, value)
        if changes:
            fleet.save(update_fields=list(changes))
            record_act(by, act="fleet.changed", subject=fleet, at=now, content=changes)
        return fleet


def issue_token(
    member: Member, *, hours: float | None = None, name: str = "", origin: TokenOrigin = TokenOrigin.COMMAND
) -> str:
    """A new token of the member, shown this once; it lives as long as its role's tokens do."""
    life = timedelta(hours=hours or settings.TOKEN_LIFE_H[member.role])
    token, _ = make_token(member, life=life, name=name, origin=origin)
    return token


def make_token(member: Member, *, life: timedelta, name: str, origin: TokenOrigin) -> tuple[str, TokenCard]:
    """A new token and its card. Only the token's hash is kept: who loses it needs another one."""
    if member.fleet is None:
        raise ValueError("a member without a fleet cannot use the API")
    with transaction.atomic():
        row, token = get_token_model().objects.create(user=member, expiry=life)
        card = TokenCard.objects.create(
            fleet=member.fleet,
            member=member,
            token=row,
            name=name,
            origin=origin,
            life_s=round(life.total_seconds()),
            created_at=row.created,
        )
    return str(token), card


def revoke_tokens(member: Member) -> int:
    """Ends every token of the member at once; returns how many there were."""
    deleted, _ = get_token_model().objects.filter(user=member).delete()
    return int(deleted)
