"""Which tokens somebody may see."""

from __future__ import annotations

from typing import Any

from fleet.errors import NotFound
from fleet.models import Fleet, Member, Role, TokenCard


def cards_seen_by(fleet: Fleet, member: Member) -> Any:
    """Cards of the caller's own tokens; of the whole fleet's for a manager."""
    cards = TokenCard.objects.for_fleet(fleet).select_related("token", "member")
    return cards if member.role == Role.MANAGER else cards.filter(member=member)


def card_of(fleet: Fleet, card_id: int, *, seen_by: Member) -> TokenCard:
    """One of them. *Raises* NotFound."""
    card: TokenCard | None = cards_seen_by(fleet, seen_by).filter(pk=card_id).first()
    if card is None:
        raise NotFound
    return card
