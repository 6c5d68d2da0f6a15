"""One process is the whole service: killed at random moments, and started twice on one file.

The moments are drawn anew each time; FAULTS_SEED repeats a run.
"""

from __future__ import annotations

import os
import random
import secrets
import sys
import time
from collections.abc import Callable, Iterator

import pytest

from tests.faults.embedded import Embedded
from tests.faults.ground import folder
from tests.faults.receivers import Receivers
from tests.faults.report import Result
from tests.faults.sender import Sender, blocking
from tests.faults.stage import Stage, longest, now_s
from tests.waiting import wait_for

SEED = int(os.environ.get("FAULTS_SEED") or secrets.randbelow(1_000_000))
UNITS = 5
STORY_S = 2.0
"""From an event to its mail and a little more: kills fall anywhere in it, and in the start that follows a kill."""


@pytest.fixture(scope="module")
def embedded(receivers: Receivers) -> Iterator[Embedded]:
    receivers.take_all()
    with folder() as own:
        made = Embedded.at(own, receivers)
        yield made
        made.service.stop()


@pytest.mark.short
def test_killed_at_any_moment_it_completes_the_story_after_every_start(
    often: Callable[[int, int], int], embedded: Embedded
) -> None:
    times, draw = often(3, 50), random.Random(SEED)
    embedded.start()
    scene = embedded.scene("emb", fleets=-(-times // UNITS), units=UNITS)
    units, senders = scene.units[:times], scene.senders(embedded.service.web_port)
    wait_for("the first assessments", lambda: assessed(embedded) >= len(scene.units), within_s=60)
    since: dict[str, float] = {}
    for index, unit in enumerate(units):
        sender = senders[index // UNITS]
        since[unit] = now_s()
        client = Stage.in_background(lambda sender=sender, unit=unit: sender.deliver([blocking(unit)]))
        time.sleep(draw.uniform(0, STORY_S))
        embedded.kill()
        embedded.start(wait=False)
        if draw.random() < 0.2:  # a second kill while it starts
            time.sleep(draw.uniform(0, 1.5))
            embedded.kill()
            embedded.start(wait=False)
        assert client.result(60) is not None, f"never answered (FAULTS_SEED={SEED})"
        wait_for(f"the message about {unit} (FAULTS_SEED={SEED})",
                 lambda unit=unit: embedded.receivers.told([unit]), within_s=60)  # fmt: skip
    time.sleep(STORY_S)  # repeats, if there are any, come with the next start
    told, accepted = embedded.receivers.told(units), sum(sender.taken for sender in senders)
    embedded.kill()
    stored, repeats = embedded.stored(scene), embedded.receivers.repeats(units)
    Result(
        "embedded service killed at random moments", times, accepted, stored, len(units), len(told), repeats,
        longest(told, since), "each story completed after its start; duplicates carry the id of the first",
    ).save("40-embedded")  # fmt: skip
    assert embedded.sound()
    assert stored == accepted == times
    assert len(told) == times
    assert set(embedded.receivers.tellings(units).values()) == {1}


def assessed(embedded: Embedded) -> int:
    return embedded.count("SELECT count(DISTINCT trip_id) FROM fleet_assessment")


@pytest.mark.short
def test_a_second_process_on_the_same_file_says_so_and_touches_nothing(embedded: Embedded) -> None:
    embedded.start()
    scene = embedded.scene("two", units=4)
    embedded.service.start("second", sys.executable, "manage.py", "serve", "--port", "0")
    second = embedded.service.running["second"]
    wait_for("the second one to give up", lambda: second.poll() is not None, within_s=60)
    sender = Sender(embedded.service.web_port, scene.fleets[0]["integrator"])
    begun = now_s()
    assert sender.deliver([blocking(unit) for unit in scene.units]) is not None
    told = wait_for(
        "all messages",
        lambda: (found := embedded.receivers.told(scene.units)) and len(found) == len(scene.units) and found,
        within_s=60,
    )
    repeats, stored = embedded.receivers.repeats(scene.units), embedded.stored(scene)
    Result(
        "two embedded processes on one folder", 1, sender.taken, stored, len(scene.units), len(told), repeats,
        longest(told, begun), "the second ends at once and names the folder",
    ).save("41-embedded-two")  # fmt: skip
    assert second.returncode != 0
    assert "Another process" in embedded.service.logged("second")
    assert stored == sender.taken
    assert repeats == 0
