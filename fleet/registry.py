"""The one rule of the three extension points: stable ids, no duplicates, always the same order."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Generic, Protocol, TypeVar


class HasId(Protocol):
    @property
    def id(self) -> str: ...


T = TypeVar("T", bound=HasId)


class DuplicateId(RuntimeError):
    """Two contributions claim the same id. Start-up stops: one of them would silently not run."""


class Registry(Generic[T]):
    """Contributions by id. Filled in `AppConfig.ready()`, read in sorted order."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._by_id: dict[str, T] = {}

    def add(self, item: T) -> T:
        """Takes one contribution. *Raises* DuplicateId when another object holds the id."""
        known = self._by_id.get(item.id)
        if known is not None and known is not item:
            raise DuplicateId(f"{self.name}: two contributions are called {item.id!r}.")
        self._by_id[item.id] = item
        return item

    def __iter__(self) -> Iterator[T]:
        return iter([self._by_id[key] for key in self.ids()])

    def __getitem__(self, key: str) -> T:
        return self._by_id[key]

    def get(self, key: str) -> T | None:
        return self._by_id.get(key)

    def ids(self) -> list[str]:
        return sorted(self._by_id)
