"""The statement that every request begins with: who is calling. It also shows whether the connection to the database
lives."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db import InterfaceError, OperationalError, connection
from django.db.models import DateTimeField, Func, QuerySet
from django.utils import timezone
from knox.models import get_token_model

from fleet.compiled import CompiledQuery, compiled


def tokens_with_key(key: str) -> Iterator[Any]:
    """The tokens of this key (nearly always one), each with its member, the member's fleet, its card, and `read_at`,
    the database's clock; whether one of them was meant is for the caller to compare."""
    query = compiled("tokens", _tokens)
    for token in query.read(_ask(query, key)):
        if connection.vendor != "postgresql":
            token.read_at = timezone.now()
        yield token


def _tokens() -> QuerySet[Any]:
    tokens: QuerySet[Any] = get_token_model().objects.select_related("user__fleet", "card").filter(token_key="any")
    if connection.vendor == "postgresql":
        tokens = tokens.annotate(read_at=Func(function="clock_timestamp", output_field=DateTimeField()))
    return tokens


def _ask(query: CompiledQuery, key: str) -> list[Any]:
    """A connection that was kept may have died. This statement shows it, so it is not asked before."""
    kept = connection.connection is not None and not connection.in_atomic_block
    connection.health_check_done = True  # type: ignore[attr-defined]  # stubs
    try:
        return query.ask(key)
    except (OperationalError, InterfaceError):
        if not kept or connection.is_usable():
            raise
        connection.close()
        return query.ask(key)
