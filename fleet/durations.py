"""Lengths of time as checks need them: made once, because a ranking asks for the same few thousands of times."""

from __future__ import annotations

from datetime import timedelta
from functools import lru_cache

__all__ = ["HOUR", "MINUTE", "hours", "minutes"]

HOUR = timedelta(hours=1)
MINUTE = timedelta(minutes=1)


@lru_cache(maxsize=4096)
def hours(count: float) -> timedelta:
    """So many hours."""
    return timedelta(hours=count)


@lru_cache(maxsize=1024)
def minutes(count: float) -> timedelta:
    """So many minutes."""
    return timedelta(minutes=count)
