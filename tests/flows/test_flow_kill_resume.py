"""Killed at any moment of the story, the service takes up what was due when it is started again, and tells it once.

One moment in the default run; KILLS=10 for the ten that `.ci/run` asks for. The moments are drawn anew each time and
named in the test's id: KILL_SEED repeats a run.
"""

from __future__ import annotations

import os
import random
import re
from collections import Counter
from pathlib import Path

import pytest

from tests.flows.embedded import Database, kill, manage, output_of, quiet, received
from tests.waiting import wait_for

pytestmark = pytest.mark.embedded
KILLS = int(os.environ.get("KILLS", "1"))
SEED = int(os.environ["KILL_SEED"])  # drawn in tests/settings.py, before the suite is shared out
STORY_LINES, STORY_MESSAGES = 62, 8
"""What the story prints from its first to its last act, and how many messages it waits for at least."""


def moments() -> list[tuple[str, int]]:
    """After so many lines of the story or, every other time, the instant so many messages have arrived: then the
    service may not yet have written down that the last of them was sent. Drawn from equal parts of the story."""
    draw = random.Random(SEED)
    shares = [(part + draw.random()) / KILLS for part in range(KILLS)]
    return [
        ("lines", 1 + int(share * STORY_LINES)) if part % 2 else ("messages", 1 + int(share * STORY_MESSAGES))
        for part, share in enumerate(shares)
    ]


def reached(folder: Path, what: str, number: int) -> bool:
    if what == "lines":
        return output_of(folder, "demo").count("\n") >= number
    path = folder / "received.jsonl"
    return path.exists() and path.read_bytes().count(b"\n") >= number


@pytest.mark.parametrize(
    ("what", "number"), moments(), ids=[f"seed-{SEED}-{what}-{number}" for what, number in moments()]
)
def test_what_was_due_is_told_once_after_a_kill(what: str, number: int, tmp_path: Path) -> None:
    told = manage(tmp_path, "demo", "--port", "0", "--pace", "0.1")
    try:
        wait_for(f"{number} {what}", lambda: reached(tmp_path, what, number), within_s=60, look_every_s=0.001)
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
