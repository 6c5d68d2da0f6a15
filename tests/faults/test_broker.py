"""Redis goes away, comes back empty, never was there; bells are lost, work is not."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from tests.faults.report import Result
from tests.faults.sender import Traffic, blocking
from tests.faults.stage import PROCESSES, Scene, Stage, longest, now_s
from tests.waiting import wait_for

GONE_S = 120


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


def test_calm_is_what_the_faults_are_compared_with(stage: Stage) -> None:
    tell(stage, stage.scene("calm", fleets=2), "none, for comparison", "00-calm", times=0, within_s=30)


def without_sweep(stage: Stage, prefix: str) -> float:
    """Proof that bells are heard: with no sweep running, the workers alone bring the messages. The longest delay."""
    scene = stage.scene(prefix, units=4)  # assessed while the sweep still ran
    stage.service.kill("sweep")
    begun = block_all(stage, scene)
    told = stage.all_told(scene, within_s=30)
    assert stage.receivers.repeats(scene.units) == 0
    stage.service.start_sweep()
    return longest(told, begun)


@pytest.mark.short
def test_without_redis_the_sweep_brings_every_message(often: Callable[[int, int], int], stage: Stage) -> None:
    scene = stage.scene("gone", fleets=often(1, 3))
    stage.broker.kill()
    tell(stage, scene, "Redis gone", "10-redis-gone", times=1, within_s=60)
    stage.broker.start()
    heard_s = without_sweep(stage, "goneafter")
    assert heard_s < 30


def test_redis_gone_for_long_under_traffic_costs_nothing(stage: Stage) -> None:
    """Two minutes of it: the bell's breaker, the quotas' breaker and the workers' reconnection all run many times."""
    scene, busy = stage.scene("long", fleets=2), stage.scene("longbusy", units=4)
    sender = busy.senders(stage.service.web_port)[0]
    stage.broker.kill()
    with Traffic(sender, busy.units) as traffic:
        begun = block_all(stage, scene)
        told = stage.all_told(scene, within_s=60)
        time.sleep(max(GONE_S - (now_s() - begun), 0))
    stage.broker.start()
    stored, repeats = stage.stored(scene) + stage.stored(busy), stage.receivers.repeats(scene.units)
    accepted = len(scene.units) + sender.taken
    Result(
        f"Redis gone for {GONE_S} s under traffic", 1, accepted, stored, len(scene.units), len(told), repeats,
        longest(told, begun), f"a batch took {traffic.longest_s:.2f} s at most",
    ).save("11-redis-gone-long")  # fmt: skip
    assert stored == accepted
    assert repeats == 0
    assert sender.statuses[207] == sum(sender.statuses.values())


def break_often(stage: Stage, prefix: str, fault: str, name: str, break_once: Callable[[], None], times: int) -> None:
    """Blocks one fleet's trips per fault, breaks something in between, and proves at the end that bells are heard."""
    scene = stage.scene(prefix, fleets=times, units=4)
    begun: dict[str, float] = {}
    for part in scene.apart:
        begun |= dict.fromkeys(part.units, block_all(stage, part))
        break_once()
    told = stage.all_told(scene, within_s=90)
    stage.quiet(scene)
    heard_s = without_sweep(stage, f"{prefix}after")
    repeats, stored = stage.receivers.repeats(scene.units), stage.stored(scene)
    Result(
        fault, times, len(scene.units), stored, len(scene.units), len(told), repeats, longest(told, begun),
        f"afterwards the workers alone, without a sweep, told within {heard_s:.1f} s",
    ).save(name)  # fmt: skip
    assert stored == len(scene.units)
    assert repeats == 0


def test_flushed_redis_loses_bells_only(stage: Stage) -> None:
    def flush() -> None:
        for _ in range(5):
            stage.broker.flush()
            time.sleep(0.1)

    break_often(stage, "flush", "Redis flushed", "12-redis-flushed", flush, 8)


def test_workers_consume_again_after_every_restart_of_redis(stage: Stage) -> None:
    def restart() -> None:
        stage.broker.kill()
        time.sleep(1)
        stage.broker.start()
        wait_for("both workers to listen again", lambda: stage.broker.listeners() >= 2, within_s=60, look_every_s=0.1)

    break_often(stage, "restart", "Redis killed and started, empty", "13-redis-restarted", restart, 8)


def test_a_frozen_redis_does_not_hold_up_the_answer_for_long(stage: Stage) -> None:
    def freeze() -> None:
        stage.broker.freeze()
        time.sleep(3)
        stage.broker.thaw()

    break_often(stage, "frozen", "Redis frozen for 3 s", "14-redis-frozen", freeze, 4)


def test_a_service_that_never_saw_redis_works_and_hears_it_when_it_comes(stage: Stage) -> None:
    stage.broker.kill()
    stage.service.kill(*PROCESSES)
    stage.service.start_web()
    stage.service.start_worker("assess", wait=False)
    stage.service.start_worker("deliver", wait=False)
    stage.service.start_sweep()
    scene = stage.scene("never", fleets=2)
    begun = block_all(stage, scene)
    told = stage.all_told(scene, within_s=60)
    stage.broker.start()
    for queue in ("assess", "deliver"):
        wait_for(queue, lambda queue=queue: stage.worker_ready(queue), within_s=60)
    heard_s = without_sweep(stage, "neverafter")
    repeats, stored = stage.receivers.repeats(scene.units), stage.stored(scene)
    Result(
        "Redis not there at start", 1, len(scene.units), stored, len(scene.units), len(told), repeats,
        longest(told, begun), f"once it came, the workers alone told within {heard_s:.1f} s",
    ).save("15-redis-never")  # fmt: skip
    assert stored == len(scene.units)
    assert repeats == 0


@pytest.mark.short
def test_three_sweeps_beside_the_workers_tell_everything_once(often: Callable[[int, int], int], stage: Stage) -> None:
    scene = stage.scene("sweeps", fleets=often(2, 5))
    stage.service.start_sweep("sweep-2", WARMGATE_SWEEP_INTERVAL_S="0.1")
    stage.service.start_sweep("sweep-3", WARMGATE_SWEEP_INTERVAL_S="0.1")
    try:
        wait_for("the other sweeps", lambda: "Sweeping" in stage.service.logged("sweep-3"), within_s=30)
        begun = block_all(stage, scene)
        told = stage.all_told(scene, within_s=60)
        stage.quiet(scene)
    finally:
        stage.service.kill("sweep-2", "sweep-3")
    repeats, stored = stage.receivers.repeats(scene.units), stage.stored(scene)
    twice = {number: times for number, times in stage.receivers.tellings(scene.units).items() if times > 1}
    Result(
        "three sweeps at once", 1, len(scene.units), stored, len(scene.units), len(told), repeats, longest(told, begun)
    ).save("16-three-sweeps")
    assert repeats == 0
    assert twice == {}
