"""Ten times the batches that the service can store: it refuses most, keeps what it took, and answers everybody else."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import pytest

from tests import factories
from tests.faults.asking import Askers, Latency
from tests.faults.processes import ROOT
from tests.faults.report import Result
from tests.faults.sender import Sender, blocking
from tests.faults.stage import Scene, Stage

FLEETS, UNITS, ROUNDS = 4, 10, 10
"""Senders, units of each, readings of each unit in a batch: a hundred events."""
TRIPS = 8
TIMES_TOO_MUCH = 10
CALM_S, FLOOD_S = 10, 60
SENDING, FLOODING = 4, 64
"""Connections: of senders that wait for their answers, and of the flood."""
SLOWER = 5
USUAL, LOOK_S, BACK_WITHIN_S = 1.5, 2.0, 20.0
"""Usual again: questions of two seconds took half as long again as before the flood, or less."""
POSTED_AGAIN = 100


@dataclass(slots=True)
class Load:
    """Batches for the flooded fleets, numbered from run to run, and the sum of what was answered."""

    stage: Stage
    scene: Scene
    start_s: float = field(default_factory=time.time)
    taken: dict[str, int] = field(default_factory=dict)
    next_number: int = 0

    def run(self, connections: int, **wanted: Any) -> dict[str, Any]:
        """What tests/faults/flood.py says, run in a process of its own."""
        event = factories.reading(datetime.now(UTC))
        plan = {
            "port": self.stage.service.web_port, "fleets": self.scene.fleets, "event": event, "rounds": ROUNDS,
            "start_s": self.start_s, "first": self.next_number, "connections": connections,
        } | wanted  # fmt: skip
        done = subprocess.run(
            [sys.executable, "-m", "tests.faults.flood"], cwd=ROOT, input=json.dumps(plan), capture_output=True,
            text=True, check=False, timeout=300,
        )  # fmt: skip
        assert not done.returncode, done.stderr[-2000:]
        record: dict[str, Any] = json.loads(done.stdout)
        self.taken |= record["taken"]
        if "numbers" not in wanted:
            self.next_number += record["offered"]
        return record


def known_trips(stage: Stage, fleet: dict[str, Any]) -> list[str]:
    """Trips of a fleet that sends nothing more; two of them are blocked."""
    stopped = fleet["units"][:2]
    assert Sender(stage.service.web_port, fleet["integrator"]).deliver([blocking(unit) for unit in stopped]) is not None
    return [f"T-{i}" for i in range(TRIPS)]


def usual_again(askers: Askers, usual: Latency) -> float | None:
    """Seconds from now until questions take as long as usual; None when they do not in time."""
    begun = time.monotonic()
    while (passed_s := time.monotonic() - begun) < BACK_WITHIN_S:
        if Latency.of(askers.during(lambda: time.sleep(LOOK_S))).median_ms <= usual.median_ms * USUAL:
            return passed_s
    return None


@pytest.mark.alone
def test_a_flood_of_events_is_refused_and_questions_are_answered(stage: Stage) -> None:
    asking, *flooding = stage.scene("flood", fleets=1 + FLEETS, units=UNITS).fleets
    trips, load = known_trips(stage, asking), Load(stage, Scene(flooding))
    with Askers(stage.service.web_port, asking["dispatcher"], trips) as askers:
        time.sleep(1)  # connections, and everything read once
        askers.asked.clear()
        usual = Latency.of(askers.during(lambda: time.sleep(CALM_S)))
        calm = load.run(SENDING, seconds=CALM_S)
        rate = len(calm["taken"]) / calm["seconds"]
        flood: dict[str, Any] = {}
        meanwhile = Latency.of(askers.during(
            lambda: flood.update(load.run(FLOODING, seconds=FLOOD_S, rate=rate * TIMES_TOO_MUCH))
        ))  # fmt: skip
        back_s = usual_again(askers, usual)
    stored_by_then, taken_by_then = stage.stored(load.scene), sum(load.taken.values())
    kept = flood["unanswered"] + flood["refused"][-POSTED_AGAIN:]
    load.run(SENDING, numbers=kept)
    accepted, stored = sum(load.taken.values()), stage.stored(load.scene)
    Result(
        f"ten times the events it can store, {FLOOD_S} s", 1, accepted, stored,
        note=f"{rate:.0f} batches/s of 100 can be stored, {flood['offered'] / flood['seconds']:.0f}/s came: "
        f"{len(flood['refused'])} refused, {len(flood['taken'])} taken; readiness took {meanwhile}, else {usual}; "
        f"usual again after {back_s if back_s is None else round(back_s)} s; {len(kept)} of the refused sent again",
    ).save("35-overload")  # fmt: skip
    said = {(one.trip, one.said) for one in askers.asked}
    assert {one.status for one in askers.asked} == {200}
    assert sorted(trip for trip, _ in said) == trips, "an answer changed"
    verdicts = {trip: json.loads(text)[1] for trip, text in said}
    assert [verdicts[trip] == "blocked" for trip in trips] == [True] * 2 + [False] * (TRIPS - 2)
    assert set(flood["statuses"]) <= {"207", "429", "503"}
    assert flood["without_retry_after"] == 0
    assert len(flood["refused"]) > flood["offered"] / 2
    assert meanwhile.median_ms <= usual.median_ms * SLOWER
    assert meanwhile.p95_ms <= usual.p95_ms * SLOWER
    assert back_s is not None
    assert stored_by_then == taken_by_then
    assert set(load.taken.values()) == {UNITS * ROUNDS}
    assert stored == accepted == stored_by_then + len(kept) * UNITS * ROUNDS
    assert sorted(stage.service.alive()) == sorted(stage.service.running)
