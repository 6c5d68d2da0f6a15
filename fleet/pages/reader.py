"""How one person reads: scale of temperatures, measure of volumes, time zone, light or dark."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fleet.models import Member
from fleet.models.members import Look, Scale, Volume


@dataclass(frozen=True, slots=True)
class Reader:
    """What every page needs to know of the person in front of it."""

    scale: str
    volume: str
    zone: tzinfo
    look: str
    now: datetime

    def local(self, at: datetime) -> datetime:
        return at.astimezone(self.zone)


def reader_of(member: Member, *, now: datetime) -> Reader:
    """The member's preferences; the time zone is the fleet's until the member names another."""
    name = member.time_zone or (member.fleet.time_zone if member.fleet else "")
    return Reader(scale=member.scale, volume=member.volume, zone=zone_named(name), look=member.look, now=now)


def stranger(now: datetime) -> Reader:
    """Whoever has not signed in."""
    return Reader(scale=Scale.CELSIUS, volume=Volume.LITRES, zone=UTC, look=Look.SYSTEM, now=now)


def zone_named(name: str) -> tzinfo:
    """The zone, or UTC where this machine does not know the name: a page with UTC times is better than none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return UTC
