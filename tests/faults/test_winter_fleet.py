"""Seventy-two hours of a winter fleet over bad links end in the state of the same events in order and once.

uv run pytest -n 0 tests/faults/test_winter_fleet.py            both lengths, on the database of the settings
uv run pytest -n 0 -m short tests/faults/test_winter_fleet.py   six hours and six units: the part that CI runs
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from pytest_django import Settings

from alarms.models import Delivery
from fleet.clock import db_now
from fleet.embedded.receivers import ReceivedMail
from fleet.models import Hold
from fleet.policy import Policy
from fleet.readiness.service import assess_due
from fleet.sweep import chores
from tests.faults.receivers import Receivers
from tests.faults.report import Result
from tests.faults.winter import known
from tests.faults.winter.calendar import Calendar
from tests.faults.winter.carrier import found_carrier
from tests.faults.winter.clock import MovedClock, moved_clock
from tests.faults.winter.radio import MINUTE_S, Winter, draw_winter

pytestmark = pytest.mark.django_db(transaction=True)
START = datetime(2026, 12, 14, tzinfo=UTC)
TOLD_WITHIN_S = 60.0
"""The sweep of the test looks once a minute; the service's own looks every few seconds."""
IMMEDIATE = ("now", "soon")


class KeepingReceivers(Receivers):
    """Keeps the words of a mail too: a trip may stand in its lines only."""

    def _mail(self, mail: ReceivedMail) -> None:
        text = f"{mail.message['Subject']}\n{mail.text()}"
        self._keep("mail", str(mail.message["Message-ID"]), ", ".join(mail.recipients), text)


@pytest.fixture
def receivers(tmp_path: Path, settings: Settings) -> Iterator[KeepingReceivers]:
    with KeepingReceivers(tmp_path) as both:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", both.mailbox.port
        settings.WEBHOOK_ALLOWED_HOSTS = [f"127.0.0.1:{both.hooks.port}"]
        yield both


@pytest.mark.short
def test_six_hours_of_six_units_lose_nothing(receivers: KeepingReceivers) -> None:
    live_through(draw_winter(units=6, hours=6, seed=11, start=START), receivers)


def test_seventy_two_hours_of_a_fleet_lose_nothing(receivers: KeepingReceivers) -> None:
    run = live_through(draw_winter(units=8, hours=72, seed=7, start=START), receivers)
    run.result().save(f"winter-{connection.vendor}")


def live_through(winter: Winter, receivers: KeepingReceivers) -> Run:
    """Lives the whole time, then asks what the claim is made of."""
    with moved_clock(winter.start) as clock:
        run = Run(winter, clock, receivers)
        run.live()
        run.take_up_what_was_put_aside()
        assert known.differences(run.rough.fleet, run.calm.fleet) == {}
        assert run.mended == 0
        run.check_messages()
        call_command("verify_audit")
    return run


class Run:
    """Two carriers, the clock, and what is counted on the way."""

    def __init__(self, winter: Winter, clock: MovedClock, receivers: KeepingReceivers) -> None:
        self.winter, self.clock, self.receivers = winter, clock, receivers
        hours = winter.end_s / 3600 + 24
        self.rough = found_carrier("rough", winter, hook=receivers.hooks.url("/rough"), hours=hours)
        self.calm = found_carrier("calm", winter, hook=receivers.hooks.url("/calm"), hours=hours)
        self.calendar = Calendar(winter, self.rough, self.calm)
        self.next_s = {chore.id: 0.0 for chore in chores}
        self.mended = 0
        self.replayed = 0
        self.told: dict[tuple[str, datetime], float] = {}

    def live(self) -> None:
        """One minute after the other: events arrive, people act, the sweep looks."""
        for minute in range(1, self.winter.end_s // MINUTE_S + 1):
            self.pass_minute(minute)

    def pass_minute(self, minute: int) -> None:
        now = self.winter.at(minute * MINUTE_S)
        self.clock.move_to(now)
        self.rough.send(self.winter.rough.pop(minute, []))
        self.calm.send(self.winter.calm.pop(minute, []))
        self.calendar.do(minute, now)
        self.clock.move_to(now + timedelta(seconds=MINUTE_S / 2))
        self.sweep()

    def sweep(self) -> None:
        """Every chore that is due by the moved clock, straight: what fails here fails the test."""
        now_s = (db_now() - self.winter.start).total_seconds()
        for chore in chores:
            if now_s < self.next_s[chore.id]:
                continue
            self.next_s[chore.id] = now_s + (chore.every_s or 0.0)
            if chore.id == "fleet.assess":
                # The chore also sleeps for what falls due within a second; here the next minute finds it.
                while assess_due():
                    pass
            else:
                found = chore.run(db_now())
                self.mended += found if chore.id == "alarms.audit" else 0

    def take_up_what_was_put_aside(self) -> None:
        """The clocks that were ahead are no longer; a person takes their events up, and the pipeline comes to rest."""
        self.replayed = self.rough.replay_quarantine()
        last = self.winter.end_s // MINUTE_S
        for minute in range(last + 1, last + 41):
            self.pass_minute(minute)

    # --- what the receivers' files say ---------------------------------------------------------------------------

    def check_messages(self) -> None:
        rows = self.receivers.rows()
        self.check_refusals(rows)
        self.check_limit(rows)

    def check_refusals(self, rows: list[dict[str, Any]]) -> None:
        """Somebody was told of every departure that was refused, before it or within a minute of it."""
        untold = []
        for at, reference, unit in self.rough.refusals:
            moments = [row["at"] for row in rows if reference in row["text"] and "rough" in row["to"]]
            first_s = min(moments, default=float("inf")) - at.timestamp()
            if first_s > TOLD_WITHIN_S:
                untold.append((at, reference, unit, first_s))
            self.told[reference, at] = first_s
        assert not untold

    def check_limit(self, rows: list[dict[str, Any]]) -> None:
        """No person got more immediate mails within an hour than the policy says; summaries aside."""
        urgency = dict(Delivery.objects.across_fleets().values_list("message_id", "urgency"))
        limit = int(Policy({}).immediate_per_hour)
        sent: dict[str, list[float]] = defaultdict(list)
        for row in rows:
            if row["channel"] == "mail" and urgency[row["id"].strip("<>").split("@")[0]] in IMMEDIATE:
                sent[row["to"]].append(row["at"])
        for to, moments in sent.items():
            moments.sort()
            most = max(sum(1 for other in moments if at <= other < at + 3600) for at in moments)
            assert most <= limit, f"{to} got {most} immediate mails within an hour"

    def result(self) -> Result:
        """The row for docs/reliability.md."""
        answers = self.rough.answers
        stored = len(known.readings(self.rough.fleet)) + len(known.fault_events(self.rough.fleet))
        ids = [row["id"] for row in self.receivers.rows() if "rough" in row["to"]]
        counts = ", ".join(f"{count} {name}" for name, count in self.winter.counts.items())
        refused = {reference for _, reference, _ in self.rough.refusals}
        waits = list(self.told.values())
        return Result(
            fault=f"72 h of a winter fleet, {connection.vendor}",
            times=1,
            accepted=answers["accepted"] + self.replayed,
            stored=stored,
            due=len(self.told),
            delivered=sum(wait <= TOLD_WITHIN_S for wait in waits),
            duplicates=len(ids) - len(set(ids)),
            longest_delay_s=max([0.0, *waits]),
            note=(
                f"{len(self.winter.numbers)} units; {counts}; {self.replayed} taken up from quarantine; "
                f"{len(known.trips(self.rough.fleet))} trips, {len(refused)} refused at the gate "
                f"{len(self.rough.refusals)} times, {Hold.objects.for_fleet(self.rough.fleet).count()} holds, "
                f"{len(set(ids))} messages; readings, unit states, alarms and open holds equal those of the same "
                "events in order; the delay is by the moved clock, whose sweep looks once a minute"
            ),
        )
