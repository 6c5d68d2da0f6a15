"""Seventy-two hours of a winter fleet over bad links end in the state of the same events in order and once.

uv run pytest -n 0 tests/faults/test_winter_fleet.py            both lengths, on the database of the settings
uv run pytest -m short tests/faults/test_winter_fleet.py        six hours and six units: the part that CI runs

WINTER_SEED, WINTER_UNITS and WINTER_HOURS make another winter of the long one; only the winter of the three defaults
must contain everything and leaves a row for docs/reliability.md.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from pytest_django import Settings

from fleet.models import AuditEntry
from tests.faults.winter.carrier import IMMEDIATE_PER_HOUR, found_carrier
from tests.faults.winter.clock import moved_clock
from tests.faults.winter.closings import wrongly_folded
from tests.faults.winter.known import compare
from tests.faults.winter.life import Life
from tests.faults.winter.messages import KeepingReceivers, Post
from tests.faults.winter.radio import Winter, draw_winter
from tests.faults.winter.tally import Tally

pytestmark = pytest.mark.django_db(transaction=True)
START = datetime(2026, 12, 14, tzinfo=UTC)
LONG = {"units": 4, "hours": 72, "seed": 10}


@pytest.fixture
def receivers(tmp_path: Path, settings: Settings) -> Iterator[KeepingReceivers]:
    with KeepingReceivers(tmp_path) as both:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", both.mailbox.port
        settings.WEBHOOK_ALLOWED_HOSTS = [f"127.0.0.1:{both.hooks.port}"]
        yield both


@pytest.mark.short
def test_six_hours_of_six_units_lose_nothing(receivers: KeepingReceivers) -> None:
    tally = live_through(draw_winter(units=6, hours=6, seed=11, start=START), receivers)
    assert tally.of_events["answered duplicate"]
    assert tally.of_events["answered late"]
    assert tally.of_trips["holds"]
    assert tally.of_moments["hours asked of both"]


def test_seventy_two_hours_of_a_fleet_lose_nothing(receivers: KeepingReceivers) -> None:
    drawn = {name: int(os.environ.get(f"WINTER_{name.upper()}", value)) for name, value in LONG.items()}
    tally = live_through(draw_winter(**drawn, start=START), receivers)
    if drawn == LONG:
        assert tally.missing() == [], "a winter in which this does not happen proves too little"
        tally.result().save(f"70-winter-{connection.vendor}")


@pytest.mark.short
@pytest.mark.parametrize(
    ("type_", "kinds"),
    [("unit.reading.v1", {"readings", "unit states"}), ("unit.fault.v1", {"fault events", "alarms"})],
)
def test_one_event_that_is_missing_is_seen(type_: str, kinds: set[str], receivers: KeepingReceivers) -> None:
    """The proof of the proof: two carriers that differ by one event are not called the same."""
    winter = draw_winter(units=8, hours=21, seed=7, start=START)
    lines = [line for minute in sorted(winter.calm) for line in winter.calm[minute]]
    missing = next(line for line in reversed(lines) if type_ in line)
    with moved_clock(winter.start) as clock:
        hook = receivers.hooks.url("/")
        one, other = (found_carrier(slug, winter, hook=hook, hours=48) for slug in ("one", "other"))
        clock.move_to(winter.at(60.0 * max(winter.calm)))  # no clock is ahead of the service's any more
        one.send(lines)
        other.send([line for line in lines if line != missing])
        assert {kind.partition(":")[0] for kind in compare(one, other).differing} == kinds
        other.send([missing])
        assert compare(one, other).differing == {}


def live_through(winter: Winter, receivers: KeepingReceivers) -> Tally:
    """Lives the whole time, then asks what the claim is made of."""
    with moved_clock(winter.start) as clock:
        life = Life(winter, clock, receivers)
        life.live()
        post = Post(receivers)
        tally = Tally(life, post, compare(life.rough, life.calm, parted=life.calendar.parted))
        print(tally)  # noqa: T201 - shown by pytest when something fails
        check_states(life, tally)
        check_post(life, post)
        check_audit(life)
    return tally


def check_states(life: Life, tally: Tally) -> None:
    """Both carriers know the same, and neither needed the auditor."""
    assert tally.comparison.differing == {}
    assert [wrongly_folded(carrier) for carrier in (life.rough, life.calm)] == [[], []]
    assert life.calendar.moments.differing == []
    assert life.worker.mended == 0


def check_post(life: Life, post: Post) -> None:
    """Of every refusal somebody was told, before it or soon after it; nobody got too many mails."""
    for carrier in (life.rough, life.calm):
        assert {refusal: told for refusal, told in post.told(carrier).items() if not told.in_time} == {}
    assert {to: most for to, most in post.most_immediate().items() if most > IMMEDIATE_PER_HOUR} == {}


def check_audit(life: Life) -> None:
    """Every entry is sealed and every chain holds."""
    call_command("verify_audit")
    for carrier in (life.rough, life.calm):
        entries = AuditEntry.objects.for_fleet(carrier.fleet)
        assert entries.exists()
        assert not entries.filter(seq__isnull=True).exists()
