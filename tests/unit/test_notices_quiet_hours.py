"""Quiet hours across both edges of daylight saving.

Europe/Helsinki in 2027: clocks go from 03:00 to 04:00 on 28 March (01:00 UTC) and from 04:00 back to 03:00 on 31
October (01:00 UTC). Source: EU directive 2000/84/EC, last Sundays at 01:00 UTC; the zone data of this machine agrees
(asserted below).
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from alarms.quiet_hours import QuietHours

HELSINKI = ZoneInfo("Europe/Helsinki")
NEW_YORK = ZoneInfo("America/New_York")


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def test_the_zone_data_has_the_edges_that_these_tests_speak_of() -> None:
    for before in ("2027-03-28T00:59:59", "2027-10-31T00:59:59"):
        at = utc(before)
        assert at.astimezone(HELSINKI).utcoffset() != (at + timedelta(seconds=1)).astimezone(HELSINKI).utcoffset()


TABLE = [
    # from, until, now (UTC), end (UTC) or None
    ("22:00", "06:00", "2027-01-12T21:00", "2027-01-13T04:00"),
    ("22:00", "06:00", "2027-01-12T20:00", "2027-01-13T04:00"),
    ("22:00", "06:00", "2027-01-12T19:59", None),
    ("22:00", "06:00", "2027-01-13T03:59", "2027-01-13T04:00"),
    ("22:00", "06:00", "2027-01-13T04:00", None),
    ("12:00", "13:00", "2027-01-12T10:30", "2027-01-12T11:00"),
    # spring: the night is an hour shorter
    ("22:00", "06:00", "2027-03-27T21:00", "2027-03-28T03:00"),
    # the end does not exist on the clock: quiet ends at the jump
    ("22:00", "03:30", "2027-03-27T22:00", "2027-03-28T01:00"),
    ("22:00", "03:30", "2027-03-28T01:00", None),
    # the beginning does not exist on the clock: quiet begins at the jump
    ("03:30", "06:00", "2027-03-28T00:59", None),
    ("03:30", "06:00", "2027-03-28T01:00", "2027-03-28T03:00"),
    # autumn: the night is an hour longer
    ("22:00", "06:00", "2027-10-30T20:00", "2027-10-31T04:00"),
    # the end is shown twice: the last one counts, and nobody is woken in between
    ("22:00", "03:30", "2027-10-31T00:29", "2027-10-31T01:30"),
    ("22:00", "03:30", "2027-10-31T00:45", "2027-10-31T01:30"),
    ("22:00", "03:30", "2027-10-31T01:30", None),
    # the beginning is shown twice: the first one counts
    ("03:30", "06:00", "2027-10-31T00:29", None),
    ("03:30", "06:00", "2027-10-31T00:30", "2027-10-31T04:00"),
    ("03:30", "06:00", "2027-10-31T01:15", "2027-10-31T04:00"),
]


@pytest.mark.parametrize(("start", "end", "now", "until"), TABLE)
def test_quiet_hours_end_when_the_fleets_clock_says(start: str, end: str, now: str, until: str | None) -> None:
    quiet = QuietHours(time.fromisoformat(start), time.fromisoformat(end))
    assert quiet.until(utc(now), zone=HELSINKI) == (None if until is None else utc(until))


def test_the_zone_is_the_fleets() -> None:
    quiet = QuietHours(time(22), time(6))
    assert quiet.until(utc("2027-01-12T21:00"), zone=NEW_YORK) is None
    assert quiet.until(utc("2027-01-13T04:00"), zone=NEW_YORK) == utc("2027-01-13T11:00")


def test_no_minute_of_an_edge_day_is_both_quiet_and_over() -> None:
    quiet = QuietHours(time(22), time(3, 30))
    for day in ("2027-03-27T18:00", "2027-10-30T18:00"):
        for minutes in range(14 * 60):
            now = utc(day) + timedelta(minutes=minutes)
            end = quiet.until(now, zone=HELSINKI)
            if end is not None:
                assert end > now
                assert quiet.until(end, zone=HELSINKI) is None


def test_quiet_hours_of_no_length_are_refused() -> None:
    with pytest.raises(ValueError, match="begin and end"):
        QuietHours(time(22), time(22))
