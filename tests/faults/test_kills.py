"""kill -9 of a worker in the middle of an assessment or a delivery, and of the web process around its commit.

The moments are not drawn but made: a row that somebody else has locked stops a transaction in its middle, a receiver
that does not answer stops a delivery, a frozen broker keeps a web process between its commit and its answer.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from tests.faults.report import Result
from tests.faults.sender import Sender, plain
from tests.faults.stage import Scene, Stage, longest, now_s
from tests.faults.test_broker import block_all
from tests.waiting import wait_for

LEASE_S = 60


def lease_passes(stage: Stage, scene: Scene) -> None:
    """A minute passes for what the dead worker had claimed of these units, and for nothing else."""
    minute = "interval '1 minute'"
    stage.change(
        f"UPDATE fleet_trip t SET assess_due_at = assess_due_at - {minute} FROM fleet_unit u"
        " WHERE u.id = t.planned_unit_id AND u.number = ANY(%s)",
        scene.units,
    )
    stage.change(
        f"UPDATE alarms_delivery d SET lease_until = lease_until - {minute} FROM alarms_notice n, fleet_unit u"
        " WHERE n.id = d.notice_id AND u.id = n.unit_id AND u.number = ANY(%s)",
        scene.units,
    )


def kill_mid_assessment(stage: Stage, scene: Scene) -> float:
    """Blocks the scene's trips and kills everybody who is about to store the answers; when it began."""
    state = "unit_id IN (SELECT id FROM fleet_unit WHERE number = ANY(%s))"
    begun = block_all(stage, scene)
    with stage.locked("fleet_unitstate", state, scene.units):
        wait_for("an assessment in its transaction", lambda: stage.waiting() > 0, within_s=20)
        stage.service.kill("worker-assess", "sweep")
    stage.service.start_worker("assess", wait=False)
    stage.service.start_sweep()
    return begun


@pytest.mark.short
def test_a_worker_killed_in_an_assessment_costs_its_lease(often: Callable[[int, int], int], stage: Stage) -> None:
    """In the whole run the lease is waited for once; the other times it is moved."""
    times = often(1, 10)
    scene = stage.scene("mid", fleets=times, units=4)
    since: dict[str, float] = {}
    for index, part in enumerate(scene.apart):
        since |= dict.fromkeys(part.units, kill_mid_assessment(stage, part))
        if not (index == 0 and times > 1):
            lease_passes(stage, part)
        stage.all_told(part, within_s=LEASE_S + 30)
    stage.quiet(scene)
    told, stored = stage.receivers.told(scene.units), stage.stored(scene)
    repeats = stage.receivers.repeats(scene.units)
    Result(
        "worker killed in an assessment", times, len(since), stored, len(since), len(told), repeats,
        longest(told, since), "the lease was waited for once, else moved",
    ).save("20-kill-assess")  # fmt: skip
    assert (stored, len(told), repeats) == (len(since), len(since), 0)


@pytest.mark.parametrize("mood", ["hang_before", "hang_after"])
def test_a_worker_killed_in_a_delivery_sends_again_under_the_same_id(mood: str, stage: Stage) -> None:
    """The server hangs before it has taken the mail, or after: then the mail arrives twice under one id."""
    times = 5
    scene = stage.scene(f"send{mood.replace('_', '')}", fleets=times, units=2)
    since: dict[str, float] = {}
    for index, part in enumerate(scene.apart):
        stage.receivers.mailbox.mood = mood
        since |= dict.fromkeys(part.units, block_all(stage, part))
        wait_for("a delivery on its way", lambda part=part: leased(stage, part) > 0, within_s=30)
        if mood == "hang_after":
            wait_for("the mail", lambda part=part: stage.receivers.told(part.units), within_s=20)
        stage.service.kill("worker-deliver", "sweep")
        stage.receivers.take_all()
        if index:
            lease_passes(stage, part)  # the first time the lease is waited for
        stage.service.start_worker("deliver", wait=False)
        stage.service.start_sweep()
        stage.all_told(part, within_s=LEASE_S + 30)
        stage.quiet(part, within_s=LEASE_S + 30)
    told, stored = stage.receivers.told(scene.units), stage.stored(scene)
    repeats = stage.receivers.repeats(scene.units)
    when = "before the server had the mail" if mood == "hang_before" else "after, before it was written down"
    Result(
        f"worker killed in a delivery, {when}", times, len(since), stored, len(since), len(told), repeats,
        longest(told, since), "duplicates carry the id of the first; the lease was waited for once, else moved",
    ).save(f"21-kill-deliver-{mood.replace('_', '-')}")  # fmt: skip
    assert stored == len(told) == len(since)
    assert set(stage.receivers.tellings(scene.units).values()) == {1}
    assert repeats <= (times * 2 if mood == "hang_after" else 0)


def leased(stage: Stage, scene: Scene) -> int:
    return stage.count(
        "SELECT count(*) FROM alarms_delivery d JOIN alarms_notice n ON n.id = d.notice_id"
        " JOIN fleet_unit u ON u.id = n.unit_id WHERE u.number = ANY(%s) AND d.state = 'leased'",
        scene.units,
    )


@pytest.mark.short
def test_a_batch_cut_off_before_its_commit_is_taken_whole_when_repeated(
    often: Callable[[int, int], int], stage: Stage
) -> None:
    times = often(1, 10)
    scene = stage.scene("before", units=4)
    sender = Sender(stage.service.web_port, scene.fleets[0]["integrator"])
    slowest = 0.0
    for _ in range(times):
        batch = [plain(unit, datetime.now(UTC)) for unit in scene.units]  # news, so that trips fall due
        with stage.locked("fleet_trip", "planned_unit_id IN (SELECT id FROM fleet_unit WHERE number = ANY(%s))",
                          scene.units):  # fmt: skip
            client = stage.in_background(lambda batch=batch: sender.deliver(batch))
            wait_for("the batch in its transaction", lambda: stage.waiting(longer_than_s=0.1) > 0, within_s=20)
            stage.service.kill("web")
        killed = now_s()
        stage.service.start_web()
        assert client.result(60)["accepted"] == len(batch)
        slowest = max(slowest, now_s() - killed)
    stored = stage.stored(scene)
    Result(
        "web process killed in a batch, before the commit", times, sender.taken, stored, longest_delay_s=slowest,
        note="the client repeated; the delay is from the kill, with the start of the process in it",
    ).save("22-kill-web-before")  # fmt: skip
    assert sender.count("accepted", "late") == sender.taken == stored == times * len(scene.units)


@pytest.mark.short
def test_a_batch_cut_off_after_its_commit_is_a_duplicate_when_repeated(
    often: Callable[[int, int], int], stage: Stage
) -> None:
    times = often(1, 10)
    scene = stage.scene("after", units=4)
    sender = Sender(stage.service.web_port, scene.fleets[0]["integrator"])
    slowest = 0.0
    for _ in range(times):
        batch = [plain(unit, datetime.now(UTC)) for unit in scene.units]
        before = stage.stored(scene)
        stage.broker.freeze()  # the bell, rung after the commit, waits for an answer
        client = stage.in_background(lambda batch=batch: sender.deliver(batch))
        wait_for("the commit", lambda before=before: stage.stored(scene) > before, within_s=20, look_every_s=0.005)
        assert not client.done(), "the answer was out before the kill"
        stage.service.kill("web")
        killed = now_s()
        stage.broker.thaw()
        stage.service.start_web()
        document = client.result(60)
        assert document["duplicate"] == len(batch)
        slowest = max(slowest, now_s() - killed)
    stored = stage.stored(scene)
    Result(
        "web process killed after the commit, before the answer", times, sender.taken, stored,
        longest_delay_s=slowest, note="every repeated batch was answered `duplicate`",
    ).save("23-kill-web-after")  # fmt: skip
    assert sender.count("duplicate") == sender.taken == stored == times * len(scene.units)
