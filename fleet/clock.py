"""The database's clock: leases, due times and verdicts of all processes follow one clock, whatever theirs say."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache

from django.db import connection
from django.utils import timezone

from fleet.stamps import stamp

__all__ = ["db_now", "stamp", "text_of"]


def db_now() -> datetime:
    """The time now by the database server's clock; on SQLite that is this machine's."""
    if connection.vendor != "postgresql":
        return timezone.now()
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        now: datetime = cursor.fetchone()[0]
    return now


@lru_cache(maxsize=4096)
def text_of(at: datetime) -> str:
    """*at* as RFC 3339 in UTC without a fraction of zero: for answers and documents, which repeat their moments."""
    return stamp(at).replace(".000000Z", "Z")
