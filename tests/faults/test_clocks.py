"""Processes whose clock is an hour off: due times and leases follow the database's clock, so nothing moves."""

from __future__ import annotations

import sys

import pytest

from tests.faults.report import Result
from tests.faults.stage import PROCESSES, Stage, longest
from tests.faults.test_broker import block_all

HOUR_S = 3600


@pytest.mark.parametrize("offset_s", [HOUR_S, -HOUR_S], ids=["an hour fast", "an hour slow"])
def test_workers_with_a_wrong_clock_tell_in_time_and_once(offset_s: int, stage: Stage) -> None:
    names = [name for name in PROCESSES if name != "web"]
    which = "fast" if offset_s > 0 else "slow"
    scene = stage.scene(f"clock{which}", fleets=3)
    stage.service.kill(*names)
    for queue in ("assess", "deliver"):
        stage.service.start_worker(queue, FAULTS_CLOCK_OFFSET_S=str(offset_s), wrap="tests.faults.wrong_clock")
    stage.service.start(
        "sweep", sys.executable, "-m", "tests.faults.wrong_clock", "manage.py", "sweep",
        FAULTS_CLOCK_OFFSET_S=str(offset_s),
    )  # fmt: skip
    begun = block_all(stage, scene)
    told = stage.all_told(scene, within_s=60)
    stage.quiet(scene)
    twice = {number: times for number, times in stage.receivers.tellings(scene.units).items() if times > 1}
    early = stage.count(
        "SELECT count(*) FROM fleet_assessment a JOIN fleet_unit u ON u.id = a.unit_id WHERE u.number = ANY(%s)"
        " AND abs(extract(epoch FROM a.computed_at - now())) > 600",
        scene.units,
    )
    repeats, stored = stage.receivers.repeats(scene.units), stage.stored(scene)
    stage.service.kill(*names)
    note = "workers and sweep; a bell they think expired is left to the sweep" if offset_s > 0 else "workers and sweep"
    Result(
        f"clock an hour {which}", 1, len(scene.units), stored, len(scene.units), len(told), repeats,
        longest(told, begun), note,
    ).save(f"17-clock-{which}")  # fmt: skip
    assert stored == len(scene.units)
    assert (repeats, twice, early) == (0, {}, 0)
