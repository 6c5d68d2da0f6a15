"""Killed at any moment of the story, the service takes up what was due when it is started again, and tells it once.

Two moments in the default run; KILLS=10 for the ten that `.ci/run` asks for. The moments are drawn anew each time and
named in the test's id: KILL_SEED repeats a run.
"""

from __future__ import annotations

import os
import random
import re
from collections import Counter
from pathlib import Path

import pytest

from tests.flows.embedded import Database, kill, manage, output_of, quiet, received, wait_for

KILLS = int(os.environ.get("KILLS", "2"))
SEED = int(os.environ.get("KILL_SEED", "0")) or random.SystemRandom().randrange(1, 1_000_000)
STORY_LINES = 62
"""Lines of the story from its first to its last act: a kill comes after one of them."""


def moments() -> list[float]:
    """Shares of the story: one drawn from each of as many equal parts as there are kills."""
    draw = random.Random(SEED)
    return [round((part + draw.random()) / KILLS, 3) for part in range(KILLS)]


@pytest.mark.parametrize("share", moments(), ids=lambda share: f"seed-{SEED}-at-{share}")
def test_what_was_due_is_told_once_after_a_kill(share: float, tmp_path: Path) -> None:
    told = manage(tmp_path, "demo", "--port", "0", "--pace", "0.1")
    try:
        lines = max(round(share * STORY_LINES), 1)
        wait_for(f"{lines} lines", lambda: output_of(tmp_path, "demo").count("\n") >= lines, within_s=60)
    finally:
        kill(told)
    database = Database(tmp_path / "warmgate.sqlite3")
    before = [receipt["id"] for receipt in received(tmp_path)]

    resumed = manage(tmp_path, "serve", "--receivers", "--port", "0")
    try:
        wait_for("the service", lambda: "answers at" in output_of(tmp_path, "serve"), within_s=40)
        wait_for("everything due to be done", lambda: quiet(database), within_s=60)
    finally:
        kill(resumed)

    assert_every_blocked_trip_is_held(database)
    assert_every_hold_is_somebodys_to_know(database)
    assert_messages_arrived_once(database, tmp_path, before=before)


def assert_every_blocked_trip_is_held(database: Database) -> None:
    """The newest assessment of a planned trip within a day of its departure, and its hold."""
    unheld = database.rows(
        """
        SELECT trip.reference FROM fleet_trip trip
        JOIN fleet_assessment answer ON answer.id = (
            SELECT max(id) FROM fleet_assessment newest
            WHERE newest.trip_id = trip.id
              AND newest.unit_id = coalesce(trip.assigned_unit_id, trip.planned_unit_id)
        )
        WHERE trip.state = 'planned' AND answer.verdict IN ('blocked', 'unknown')
          AND julianday(trip.depart_at) - julianday('now') < 1
          AND NOT EXISTS (SELECT 1 FROM fleet_hold hold WHERE hold.trip_id = trip.id AND hold.state = 'open')
        """
    )
    assert unheld == []


def assert_every_hold_is_somebodys_to_know(database: Database) -> None:
    untold = database.rows(
        """
        SELECT hold.id FROM fleet_hold hold WHERE hold.state = 'open'
          AND NOT EXISTS (SELECT 1 FROM alarms_noticesubject subject WHERE subject.hold_id = hold.id)
          AND EXISTS (SELECT 1 FROM alarms_noticeroute)
        """
    )
    assert untold == []


def assert_messages_arrived_once(database: Database, folder: Path, *, before: list[str]) -> None:
    """Every message the service calls sent has arrived, under one id and no other; a repeat only of what was on the
    wire when the process died, and then the receiver could tell."""
    sent = {
        message_id for (message_id,) in database.rows("SELECT message_id FROM alarms_delivery WHERE state = 'sent'")
    }
    arrived = Counter(re.search(r"msg_\w+", receipt["id"]).group() for receipt in received(folder))  # type: ignore[union-attr]
    assert set(arrived) == sent
    repeated = {message_id for message_id, times in arrived.items() if times > 1}
    uncertain = {
        message_id
        for (message_id,) in database.rows("SELECT message_id FROM alarms_delivery WHERE uncertain AND attempts > 1")
    }
    assert repeated <= uncertain
    assert len(repeated) <= 2  # one per delivering thread: the worker and the sweep
    assert all(any(message_id in known for known in before) for message_id in repeated)
    twice = database.rows(
        """
        SELECT route_id, subjects, purpose, round, step, count(*) FROM alarms_delivery
        WHERE state = 'sent' AND purpose IN ('tell', 'close')
        GROUP BY notice_id, route_id, subjects, purpose, round, step HAVING count(*) > 1
        """
    )
    assert twice == []
