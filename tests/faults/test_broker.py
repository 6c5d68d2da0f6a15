"""Redis goes away, comes back empty, never was there; bells are lost, work is not."""

from __future__ import annotations

import pytest

from tests.faults.report import Result
from tests.faults.sender import blocking
from tests.faults.stage import Scene, Stage, longest, now_s


def block_all(stage: Stage, scene: Scene) -> float:
    """Blocks every trip of the scene; when (Unix time)."""
    begun = now_s()
    for fleet, sender in zip(scene.fleets, scene.senders(stage.service.web_port), strict=True):
        answer = sender.deliver([blocking(unit) for unit in fleet["units"]])
        assert answer is not None
        assert answer["accepted"] == len(fleet["units"])
    return begun


def tell(stage: Stage, scene: Scene, fault: str, name: str, *, times: int, within_s: float, note: str = "") -> None:
    """Blocks all trips, waits for all messages, and writes the row."""
    begun = block_all(stage, scene)
    told = stage.all_told(scene, within_s=within_s)
    stage.quiet(scene)
    accepted, stored = len(scene.units), stage.stored(scene)
    repeats = stage.receivers.repeats(scene.units)
    Result(fault, times, accepted, stored, len(scene.units), len(told), repeats, longest(told, begun), note).save(name)
    assert stored == accepted
    assert repeats == 0


@pytest.mark.short
def test_calm_is_what_the_faults_are_compared_with(stage: Stage) -> None:
    tell(stage, stage.scene("calm", fleets=2), "none, for comparison", "00-calm", times=0, within_s=30)
