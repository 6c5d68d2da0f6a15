"""Gives out, replaces and ends tokens; each of it is an entry of the audit."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth import authenticate
from django.db import transaction
from django.db.models import Q
from knox.models import get_token_model
from rest_framework.exceptions import NotAuthenticated

from fleet.errors import Conflict, WarmgateError
from fleet.members import issue_token, make_token
from fleet.models import Fleet, Member, TokenCard, TokenOrigin
from fleet.records.audit import record_act
from fleet.tokens.selectors import card_of

LIVE_TOKENS = 20
"""So many live tokens a member may have. A log-in ends its own oldest ones; a rotation is refused."""


class LoginRefused(WarmgateError):
    """No such name, another password, or a member who may not log in: nobody is told which."""

    code = "login-refused"
    default_detail = "There is no member with this name and this password."
    auth_header = 'Bearer realm="warmgate"'


def log_in(*, username: str, password: str, name: str, now: datetime) -> tuple[str, TokenCard]:
    """A token for the member with this name and password. *Raises* LoginRefused."""
    # Django's own look-up hashes a password for unknown names too, so that both take the same time.
    member = authenticate(username=username, password=password)
    if not isinstance(member, Member) or member.fleet_id is None:
        raise LoginRefused
    with transaction.atomic():
        Member.objects.select_for_update().get(pk=member.pk)
        _end_oldest_logins(member, now=now)
        token = issue_token(member, name=name, origin=TokenOrigin.LOGIN)
        card = TokenCard.objects.for_fleet(member.fleet_id).select_related("token", "member").latest("pk")
        record_act(member, act="token.issued", subject=card, at=now, content=_said(card))
    return token, card


def rotate_token(
    by: Member, token: Any, *, overlap: timedelta, name: str | None, now: datetime
) -> tuple[str, TokenCard]:
    """A new token in the place of the one that asks, which lives on for *overlap* and not a moment longer than before.

    The new one lives as long as the old one was issued for: a short token does not become a long one.
    *Raises* NotAuthenticated where the old one was revoked in this moment, Conflict where there are too many.
    """
    tokens = get_token_model().objects
    with transaction.atomic():
        Member.objects.select_for_update().get(pk=by.pk)
        old = tokens.filter(pk=token.pk, card__isnull=False).select_related("card").first()
        if old is None:
            raise NotAuthenticated
        if live_tokens(by, now=now).count() >= LIVE_TOKENS:
            raise Conflict(f"You have {LIVE_TOKENS} live tokens. End one before you make another.")
        card: TokenCard = old.card
        kept = card.name if name is None else name
        new, new_card = make_token(by, life=timedelta(seconds=card.life_s), name=kept, origin=TokenOrigin.ROTATION)
        end = now + overlap
        tokens.filter(Q(expiry=None) | Q(expiry__gt=end), pk=old.pk).update(expiry=end)
        record_act(by, act="token.rotated", subject=new_card, at=now, content=_said(new_card) | {"replaces": card.pk})
    return new, new_card


def revoke_token(fleet: Fleet, card_id: int, *, by: Member, now: datetime) -> None:
    """Ends a token at once: the caller's own, or as a manager any of the fleet. *Raises* NotFound."""
    with transaction.atomic():
        card = card_of(fleet, card_id, seen_by=by)
        record_act(by, act="token.revoked", subject=card, at=now, content=_said(card))
        card.token.delete()


def live_tokens(member: Member, *, now: datetime) -> Any:
    """The member's cards whose token has not expired."""
    cards = TokenCard.objects.for_fleet(member.fleet_id).filter(member=member)
    return cards.filter(Q(token__expiry=None) | Q(token__expiry__gt=now))


def forget_expired_tokens(*, now: datetime, kept: timedelta = timedelta(days=7)) -> int:
    """Deletes tokens that expired a week ago; how many there were."""
    deleted, per_model = get_token_model().objects.filter(expiry__lt=now - kept).delete()
    return int(per_model.get("knox.AuthToken", deleted))


def _end_oldest_logins(member: Member, *, now: datetime) -> None:
    cards = live_tokens(member, now=now).filter(origin=TokenOrigin.LOGIN).order_by("-pk")
    oldest = list(cards.values_list("token_id", flat=True)[LIVE_TOKENS - 1 :])
    get_token_model().objects.filter(pk__in=oldest).delete()


def _said(card: TokenCard) -> dict[str, Any]:
    return {"token": card.pk, "member": card.member.username, "name": card.name, "origin": card.origin}
