"""The statement that every request begins with, compiled once per connection: making it anew from the models cost more
than all else that finds out who is calling."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db import connection
from django.db.models import DateTimeField, Func
from django.db.models.query import get_related_populators
from django.utils import timezone
from knox.models import get_token_model

_KEPT = "warmgate_token_query"


class _TokenQuery:
    """Tokens by their key, each with its member, the member's fleet, its card, and `read_at`, the database's clock."""

    def __init__(self) -> None:
        tokens = get_token_model().objects.select_related("user__fleet", "card").filter(token_key="any")
        if connection.vendor == "postgresql":
            tokens = tokens.annotate(read_at=Func(function="clock_timestamp", output_field=DateTimeField()))
        self._compiler: Any = tokens.query.get_compiler(connection.alias)
        self._sql, (_,) = self._compiler.as_sql()
        self._model = self._compiler.klass_info["model"]
        self._places = self._compiler.klass_info["select_fields"]
        self._names = [self._compiler.select[place][0].target.attname for place in self._places]
        klass_info, select = self._compiler.klass_info, self._compiler.select
        self._read_at = self._compiler.annotation_col_map.get("read_at")
        self._related = get_related_populators(klass_info, select, connection.alias)  # type: ignore[call-arg]  # stubs

    def __call__(self, key: str) -> Iterator[Any]:
        with connection.cursor() as cursor:
            cursor.execute(self._sql, [key])
            rows = cursor.fetchall()
        for row in self._compiler.results_iter([rows]):
            token = self._model.from_db(connection.alias, self._names, [row[place] for place in self._places])
            for populator in self._related:
                populator.populate(row, token)
            token.read_at = timezone.now() if self._read_at is None else row[self._read_at]
            yield token


def tokens_with_key(key: str) -> Iterator[Any]:
    """The tokens of this key (nearly always one); whether one of them was meant is for the caller to compare."""
    kept = connection.__dict__.get(_KEPT)
    if kept is None:
        kept = connection.__dict__[_KEPT] = _TokenQuery()
    return kept(key)
