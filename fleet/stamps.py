"""Times as text whose order is the order of time. Apart from the clock, so that what is pure may use it."""

from __future__ import annotations

from datetime import UTC, datetime

STAMP = "%Y-%m-%dT%H:%M:%S.%fZ"
"""Fixed width, UTC: in this form text order is time order."""


def stamp(at: datetime) -> str:
    """*at* as fixed-width RFC 3339 text in UTC."""
    return at.astimezone(UTC).strftime(STAMP)
