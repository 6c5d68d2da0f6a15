"""Runs a transaction again when the database asked for it: deadlock, serialization failure, a lock that was waited for
long enough, or a busy SQLite file."""

from __future__ import annotations

import logging
import random
import time
from collections.abc import Callable
from typing import TypeVar

from django.db import OperationalError, connection

logger = logging.getLogger(__name__)
T = TypeVar("T")

TRIES = 3
LOCK_NOT_AVAILABLE = "55P03"
RETRYABLE = {"40001", "40P01", LOCK_NOT_AVAILABLE}


def on_conflict(work: Callable[[], T]) -> T:
    """The result of *work*, which opens its own transaction; tried up to three times.

    *Raises* whatever *work* raised last. Inside an open transaction it runs once: only the outermost can be repeated.
    """
    if connection.in_atomic_block:
        return work()
    for attempt in range(1, TRIES + 1):
        try:
            return work()
        except OperationalError as error:
            if attempt == TRIES or not is_retryable(error):
                raise
            logger.info("Transaction is tried again (%s of %s): %s", attempt, TRIES, error)
            time.sleep(random.uniform(0.01, 0.05) * attempt)
    raise AssertionError("unreachable")


def is_retryable(error: OperationalError) -> bool:
    return _state(error) in RETRYABLE or "database is locked" in str(error) or "database table is locked" in str(error)


def is_taken(error: OperationalError) -> bool:
    """Whether somebody else held a row for longer than was to be waited for it."""
    return _state(error) == LOCK_NOT_AVAILABLE


def _state(error: OperationalError) -> str | None:
    return getattr(error.__cause__, "sqlstate", None)
