"""Times as text whose order is the order of time. Apart from the clock, so that what is pure may use it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

STAMP = "%Y-%m-%dT%H:%M:%S.%fZ"
"""Fixed width, UTC: in this form text order is time order."""
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def stamp(at: datetime) -> str:
    """*at* as fixed-width RFC 3339 text in UTC."""
    return at.astimezone(UTC).strftime(STAMP)


def moment_of(micros: int) -> datetime:
    """The moment so many microseconds after the beginning of 1970, in UTC."""
    return EPOCH + timedelta(microseconds=micros)
