"""The rule that nobody reads across fleets by accident: a query must say whose rows it wants.

`Model.objects.all()` raises when it is evaluated. `for_fleet(fleet)` narrows to one fleet, `across_fleets()` says
aloud that the caller (a worker, the auditor, a command) means every fleet. Rows reached through an object that was
itself found in scope (`trip.holds.all()`) are in scope. Django's own look-ups (saving, refreshing, foreign keys) use
the base manager and are not affected.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Self

from django.db import models


class UnscopedQuery(RuntimeError):
    """A query was evaluated without saying which fleet it is for."""


class ScopedQuerySet(models.QuerySet):
    """A queryset that refuses to be evaluated before it was scoped."""

    _scope_said = False

    def for_fleet(self, fleet: Any) -> Self:
        """Rows of one fleet, given as a Fleet or its primary key."""
        fleet_id = getattr(fleet, "pk", fleet)
        if fleet_id is None:
            raise UnscopedQuery(f"{self.model.__name__}: for_fleet(None)")
        path = getattr(self.model, "fleet_path", "fleet")
        return self.filter(**{f"{path}": fleet_id})._say_scope()

    def across_fleets(self) -> Self:
        """Rows of every fleet: for workers, audits and commands, never for a request of a member."""
        return self.all()._say_scope()

    def _say_scope(self) -> Self:
        self._scope_said = True
        return self

    def _clone(self) -> Self:
        clone = super()._clone()  # type: ignore[misc]
        clone._scope_said = self._scope_said
        return clone

    def _require_scope(self) -> None:
        if not self._scope_said and "instance" not in self._hints:  # type: ignore[attr-defined]
            raise UnscopedQuery(f"{self.model.__name__}: say for_fleet(...) or across_fleets() before reading.")

    def _fetch_all(self) -> None:
        self._require_scope()
        super()._fetch_all()

    def iterator(self, chunk_size: int | None = None) -> Iterator[Any]:
        self._require_scope()
        return super().iterator(chunk_size=chunk_size)

    def count(self) -> int:
        self._require_scope()
        return super().count()

    def exists(self) -> bool:
        self._require_scope()
        return super().exists()

    def aggregate(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        self._require_scope()
        return super().aggregate(*args, **kwargs)

    def update(self, **kwargs: Any) -> int:
        self._require_scope()
        return super().update(**kwargs)

    def delete(self) -> tuple[int, dict[str, int]]:
        self._require_scope()
        return super().delete()


ScopedManager = models.Manager.from_queryset(ScopedQuerySet)


class FleetRow(models.Model):
    """A row of one fleet. `fleet_path` names the way to the fleet when the row has no column of its own."""

    fleet_path = "fleet"

    fleet = models.ForeignKey("fleet.Fleet", on_delete=models.PROTECT, related_name="+")

    objects = ScopedManager()

    class Meta:
        abstract = True
