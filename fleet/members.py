"""Founds fleets, admits members and gives out their tokens."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.db import transaction
from knox.models import get_token_model

from fleet.models import Fleet, Member, PolicyRow, Role, TokenCard, TokenOrigin


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
