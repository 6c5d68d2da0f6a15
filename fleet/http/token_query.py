"""The statement that every request begins with: who is calling."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db import connection
from django.db.models import DateTimeField, Func, QuerySet
from django.utils import timezone
from knox.models import get_token_model

from fleet.compiled import compiled


def tokens_with_key(key: str) -> Iterator[Any]:
    """The tokens of this key (nearly always one), each with its member, the member's fleet, its card, and `read_at`,
    the database's clock; whether one of them was meant is for the caller to compare."""
    for token in compiled("tokens", _tokens)(key):
        if connection.vendor != "postgresql":
            token.read_at = timezone.now()
        yield token


def _tokens() -> QuerySet[Any]:
    tokens: QuerySet[Any] = get_token_model().objects.select_related("user__fleet", "card").filter(token_key="any")
    if connection.vendor == "postgresql":
        tokens = tokens.annotate(read_at=Func(function="clock_timestamp", output_field=DateTimeField()))
    return tokens
