"""Puts signatures under records, and the times a record may claim."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from fleet.errors import InvalidInput
from fleet.models import Member
from inspections.models import Signature

AHEAD = timedelta(minutes=10)
"""Clocks of phones may run this much fast."""
LATE = timedelta(minutes=10)
"""A record that reaches the service later than this after the act is marked late."""
OLDEST = timedelta(days=31)
"""Nothing older is taken: it would be a new record of an old memory."""


def require_time(at: datetime, *, now: datetime, pointer: str = "/performed_at") -> None:
    """*Raises* InvalidInput for a moment that lies ahead or too far back."""
    if at > now + AHEAD:
        raise InvalidInput.at(pointer, "time-ahead", "The time lies ahead of the service's clock.")
    if at < now - OLDEST:
        raise InvalidInput.at(pointer, "too-old", f"The time lies more than {OLDEST.days} days back.")


def sign(
    by: Member, *, meaning: Signature.Meaning, given: Mapping[str, Any], now: datetime, **record: Any
) -> Signature:
    """Writes one signature under one record (`inspection=`, `repair=` or `service=`)."""
    return Signature.objects.create(
        fleet_id=next(iter(record.values())).fleet_id,
        meaning=meaning,
        member=by,
        name=str(by),
        role=by.role,
        server_at=now,
        device_at=given.get("device_at"),
        **record,
    )
