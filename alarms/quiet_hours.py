"""Quiet hours on the fleet's clock, through both edges of daylight saving.

A time that the clock shows twice counts the first time as a beginning and the last time as an end; a time that the
clock skips counts at the moment of the jump. So nobody is woken twice, and no night lasts longer than the clock says.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class QuietHours:
    """From one time of day to another, past midnight if the second is the earlier. Both on the fleet's clock."""

    start: time
    end: time

    def __post_init__(self) -> None:
        if self.start == self.end:
            raise ValueError("Quiet hours that begin and end at the same time would be none, or would never end.")

    def until(self, now: datetime, *, zone: ZoneInfo) -> datetime | None:
        """When the quiet hours around *now* end (UTC); None outside them."""
        today = now.astimezone(zone).date()
        for day in (today - timedelta(days=1), today):
            last_day = day + timedelta(days=1) if self.end < self.start else day
            start = moment_of(day, self.start, zone=zone, last=False)
            end = moment_of(last_day, self.end, zone=zone, last=True)
            if start <= now < end:
                return end
        return None


def moment_of(day: date, at: time, *, zone: ZoneInfo, last: bool) -> datetime:
    """The moment (UTC) at which the clock of *zone* shows *at* on *day*; the jump itself when the clock skips it."""
    wall = datetime.combine(day, at, tzinfo=zone)
    first_reading = wall.replace(fold=0).astimezone(UTC)
    last_reading = wall.replace(fold=1).astimezone(UTC)
    if last_reading < first_reading:  # PEP 495: in a gap the two folds change places
        return _jump_between(last_reading, first_reading, zone)
    return last_reading if last else first_reading


def _jump_between(early: datetime, late: datetime, zone: ZoneInfo) -> datetime:
    """The moment, to the second, at which the zone's offset changes between two moments of different offset."""
    before = early.astimezone(zone).utcoffset()
    while late - early > timedelta(seconds=1):
        middle = early + timedelta(seconds=(late - early) // timedelta(seconds=2))
        if middle.astimezone(zone).utcoffset() == before:
            early = middle
        else:
            late = middle
    return late
