"""When a token was last used: written down on its first use and then at most once in five minutes.

A read must not become a write each time. The look costs nothing (the card comes with the token), the write is one
conditional statement, so that of many requests at once one writes; and no request fails because it could not be done.
"""

from __future__ import annotations

import logging
from datetime import datetime, timedelta

from django.db import DatabaseError, transaction
from django.db.models import Q

from fleet.models import TokenCard

logger = logging.getLogger(__name__)
EVERY = timedelta(minutes=5)


def note_use(card: TokenCard, *, now: datetime) -> bool:
    """Writes down that the token was used; whether there was something to write."""
    if card.last_used_at is not None and card.last_used_at > now - EVERY:
        return False
    stale = Q(last_used_at=None) | Q(last_used_at__lte=now - EVERY)
    try:
        with transaction.atomic():
            rows = TokenCard.objects.for_fleet(card.fleet_id).filter(stale, pk=card.pk)
            return rows.update(last_used_at=now) > 0
    except DatabaseError as error:
        logger.warning("The last use of token %s was not written: %s", card.pk, type(error).__name__)
        return False
