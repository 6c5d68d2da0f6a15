"""What inspections ask of the sweep: records whose time is over go, a bounded number at a time."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings

from fleet.sweep import Chore
from inspections.services.purging import purge_records

HOUR_S = 3600.0


def purge(now: datetime) -> int:
    """Deletes records older than WARMGATE_RECORDS_KEEP_MONTHS; the deletion itself is an entry of the audit."""
    return purge_records(now=now, keep_months=settings.RECORDS_KEEP_MONTHS)


CHORES = (Chore("inspections.purge_records", purge, every_s=6 * HOUR_S),)
