"""Without a broker the sweep alone carries a trip from the event to the mail, and a message does not wait for a second
round of it."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connections

from fleet import bell, sweep
from fleet.bell import ASSESS_TASK, DELIVER_TASK, ring
from fleet.embedded.receivers import Mailbox
from fleet.models import Fleet, Role
from fleet.registry import Registry
from fleet.sweep import ASSESS, DELIVER, Chore, Sweep, sweep_once
from tests import factories
from tests.db.conftest import plan, post
from tests.receivers import mailbox, route_to

__all__ = ["mailbox"]
LONG_S = 300.0
"""An interval that no test waits for: what happens within it happens because a chore was called."""


@pytest.fixture
def no_broker(settings: Any) -> Iterator[None]:
    """A broker nobody answers at; every failure silences the bell for long."""
    settings.BELL, settings.BELL_PAUSE_S, settings.SWEEP_INTERVAL_S = "auto", LONG_S, LONG_S
    bell.breaker.trip(LONG_S)
    yield
    bell.breaker.reset()


@pytest.fixture
def only(monkeypatch: pytest.MonkeyPatch) -> Registry[Chore]:
    """A registry of chores of its own."""
    registry: Registry[Chore] = Registry("chores of a test")
    monkeypatch.setattr(sweep, "chores", registry)  # what the service itself does must not run beside it
    return registry


def waited(event: threading.Event) -> bool:
    return event.wait(20)


@pytest.mark.django_db(transaction=True)
def test_a_chore_that_is_rung_for_runs_at_once_while_the_bell_is_silent(no_broker: None, only: Registry[Chore]) -> None:
    begun, again, runs = threading.Event(), threading.Event(), []

    def deliver(now: datetime) -> int:
        runs.append(now)
        begun.set()
        if len(runs) == 2:
            again.set()
        return 0

    only.add(Chore("alarms.deliver", deliver, lane=DELIVER, task=DELIVER_TASK))
    only.add(Chore("fleet.assess", lambda now: 0, task=ASSESS_TASK))
    running = Sweep()
    running.start()
    try:
        assert waited(begun)
        ring(DELIVER_TASK)
        assert waited(again)
    finally:
        assert running.stop()
    assert len(runs) == 2
    assert bell.stand_ins == []


@pytest.mark.django_db(transaction=True)
def test_a_call_while_the_chore_runs_is_not_lost(no_broker: None, only: Registry[Chore]) -> None:
    inside, go_on, again, runs = threading.Event(), threading.Event(), threading.Event(), []

    def assess(now: datetime) -> int:
        runs.append(now)
        inside.set()
        if len(runs) == 2:
            again.set()
        return int(go_on.wait(20))

    only.add(Chore("fleet.assess", assess, task=ASSESS_TASK))
    running = Sweep()
    running.start()
    try:
        assert waited(inside)
        ring(ASSESS_TASK)
        go_on.set()
        assert waited(again)
    finally:
        assert running.stop()


@pytest.mark.django_db(transaction=True)
def test_a_blocked_trip_is_mailed_in_the_round_that_found_it(
    no_broker: None,
    tarn: Fleet,
    now: datetime,
    mailbox: Mailbox,
) -> None:
    factories.potato()
    factories.make_unit(tarn)
    route_to(tarn, "gate@tarn.example", now=now)
    plan(tarn, factories.make_member(tarn, Role.DISPATCHER), now - timedelta(hours=4.1))
    post(tarn, factories.reading(now, set_point_c=2.0), now=now - timedelta(seconds=5))
    running = Sweep()
    running.start()
    try:
        until = time.monotonic() + 20
        while not mailbox.mails and time.monotonic() < until:
            time.sleep(0.02)
    finally:
        assert running.stop()
        connections.close_all()
    assert len(mailbox.mails) == 1


@pytest.mark.django_db
def test_one_round_assesses_first_and_delivers_last(only: Registry[Chore]) -> None:
    only.add(Chore("alarms.deliver", lambda now: 0, lane=DELIVER))
    only.add(Chore("alarms.audit", lambda now: 0))
    only.add(Chore("fleet.assess", lambda now: 0, lane=ASSESS))
    assert list(sweep_once()) == ["fleet.assess", "alarms.audit", "alarms.deliver"]
