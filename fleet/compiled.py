"""Queries of the hottest paths, compiled once per connection: making the statement anew from the models costs more
than the database and everything else that the answer takes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from django.db import connection
from django.db.models import QuerySet
from django.db.models.query import get_related_populators

_KEPT = "warmgate_compiled"


class CompiledQuery:
    """A queryset that compares one column with one value, which is given anew at each call. Its rows come with what it
    selects of related rows and with its annotations."""

    def __init__(self, rows: QuerySet[Any]) -> None:
        self._compiler: Any = rows.query.get_compiler(connection.alias)
        self._sql, (_,) = self._compiler.as_sql()
        klass_info, select = self._compiler.klass_info, self._compiler.select
        self._converters = self._compiler.get_converters([expression for expression, *_ in select])
        self._model = klass_info["model"]
        self._places = klass_info["select_fields"]
        self._names = [select[place][0].target.attname for place in self._places]
        self._annotated = list(self._compiler.annotation_col_map.items())
        self._related = get_related_populators(klass_info, select, connection.alias)  # type: ignore[call-arg]  # stubs

    def __call__(self, value: Any) -> Iterator[Any]:
        return self.read(self.ask(value))

    def ask(self, value: Any) -> list[Any]:
        """The rows as the driver has them."""
        with connection.cursor() as cursor:
            cursor.execute(self._sql, [value])
            rows: list[Any] = cursor.fetchall()
        return rows

    def read(self, rows: list[Any]) -> Iterator[Any]:
        for row in self._compiler.apply_converters(rows, self._converters):
            made = self._model.from_db(connection.alias, self._names, [row[place] for place in self._places])
            for populator in self._related:
                populator.populate(row, made)
            for name, place in self._annotated:
                setattr(made, name, row[place])
            yield made


def compiled(name: str, rows: Callable[[], QuerySet[Any]]) -> CompiledQuery:
    """The query of that name, made by *rows* with any value at the first call on this connection."""
    kept: dict[str, CompiledQuery] = connection.__dict__.setdefault(_KEPT, {})
    if name not in kept:
        kept[name] = CompiledQuery(rows())
    return kept[name]
