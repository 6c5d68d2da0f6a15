"""PostgreSQL crashes under load, has no connection left, cancels statements, and refuses to serialize."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

import psycopg
import pytest

from tests.faults.report import Result
from tests.faults.sender import Sender, Traffic, plain
from tests.faults.stage import Stage, longest, now_s
from tests.faults.test_broker import block_all
from tests.waiting import wait_for


@pytest.mark.short
def test_postgresql_crashes_under_load_and_nothing_acknowledged_is_lost(
    often: Callable[[int, int], int], stage: Stage
) -> None:
    """An immediate stop: no checkpoint, connections cut; readings arrive and trips are being blocked meanwhile."""
    times = often(1, 5)
    scene = stage.scene("crash", fleets=times, units=4)
    busy = stage.scene("crashbusy", fleets=2, units=6)
    senders = busy.senders(stage.service.web_port)
    since: dict[str, float] = {}
    with ExitStack() as stack:
        flows = [
            stack.enter_context(Traffic(sender, fleet["units"]))
            for sender, fleet in zip(senders, busy.fleets, strict=True)
        ]
        for part in scene.apart:
            since |= dict.fromkeys(part.units, block_all(stage, part))
            stage.postgres.stop("immediate")
            time.sleep(2)
            stage.postgres.start()
            wait_for_answers(senders)
        told = stage.all_told(scene, within_s=60 + 30)  # a claim cut off in the crash waits for its lease
    stage.quiet(scene)
    accepted = len(scene.units) + sum(sender.taken for sender in senders)
    stored, repeats = stage.stored(scene) + stage.stored(busy), stage.receivers.repeats(scene.units)
    refused = sum(sender.statuses[503] for sender in senders)
    broken = sum(sender.statuses[0] + sender.statuses[500] for sender in senders)
    Result(
        "PostgreSQL crashed under load, 2 s away", times, accepted, stored, len(scene.units), len(told), repeats,
        longest(told, since),
        f"{refused} requests answered 503, {broken} not at all; a batch took {max(f.longest_s for f in flows):.1f} s",
    ).save("30-postgres-crash")  # fmt: skip
    assert stored == accepted
    assert len(told) == len(scene.units)
    assert repeats <= times
    assert broken == 0
    assert sorted(stage.service.alive()) == sorted(stage.service.running)


def wait_for_answers(senders: list[Sender]) -> None:
    """Until each of them has had a batch taken since the call."""
    before = [sender.statuses[207] for sender in senders]
    wait_for(
        "answers for all",
        lambda: all(sender.statuses[207] > count for sender, count in zip(senders, before, strict=True)),
        within_s=60,
    )


@contextmanager
def no_connection_left(stage: Stage) -> Iterator[list[psycopg.Connection[Any]]]:
    """Takes every connection that PostgreSQL has, and each that somebody gives back, until the end."""
    taken: list[psycopg.Connection[Any]] = []
    stopping = threading.Event()

    def take() -> None:
        while not stopping.is_set():
            try:
                taken.append(psycopg.connect(stage.postgres.server_dsn()))
            except psycopg.OperationalError:
                stopping.wait(0.005)

    thread = threading.Thread(target=take, daemon=True)
    thread.start()
    try:
        held = 0
        while not held or len(taken) > held:
            held = len(taken)
            time.sleep(0.7)
        yield taken
    finally:
        stopping.set()
        thread.join(10)
        for connection in taken:
            connection.close()


@pytest.mark.short
def test_without_a_connection_left_it_says_503_and_works_again_afterwards(stage: Stage) -> None:
    scene = stage.scene("full", fleets=1, units=4)
    sender = Sender(stage.service.web_port, scene.fleets[0]["integrator"])
    at = datetime.now(UTC) - timedelta(hours=2)
    stage.service.kill("web")
    # The web processes start without a connection of their own and find none.
    with no_connection_left(stage) as taken:
        stage.service.start_web(wait=False)
        wait_for("the web processes", lambda: stage.service.ask("/livez")[0] == 200, within_s=60)
        ready = stage.service.ask("/readyz")
        refused = [sender.post([plain(unit, at) for unit in scene.units]) for _ in range(5)]
    begun = now_s()
    answer = sender.deliver([plain(unit, at) for unit in scene.units])
    back_s = now_s() - begun
    stored = stage.stored(scene)
    Result(
        "no connection left in PostgreSQL", 1, sender.taken, stored, longest_delay_s=back_s,
        note=f"{len(taken)} taken by somebody else; 503 with Retry-After meanwhile; the delay is from their release",
    ).save("31-connections")  # fmt: skip
    assert ready[0] == 503
    assert [status for status, _, _ in refused] == [503] * 5
    assert all(int(fields["Retry-After"]) > 0 for _, fields, _ in refused)
    assert all(body["type"] == "/docs/problems/unavailable/" for _, _, body in refused)
    assert answer is not None
    assert stored == sender.taken == len(scene.units)


@contextmanager
def server_setting(stage: Stage, name: str, value: str) -> Iterator[None]:
    """A setting of the whole server, for the sessions that are open as well."""

    def set_to(sql: str) -> None:
        stage.change(sql)
        stage.change("SELECT pg_reload_conf()")
        time.sleep(0.3)

    set_to(f"ALTER SYSTEM SET {name} = '{value}'")
    try:
        yield
    finally:
        set_to(f"ALTER SYSTEM RESET {name}")


def test_a_statement_that_is_cancelled_leaves_nothing_half_written(stage: Stage) -> None:
    scene = stage.scene("slow", fleets=1, units=4)
    sender = Sender(stage.service.web_port, scene.fleets[0]["integrator"])
    at = datetime.now(UTC) - timedelta(hours=2)
    trips = "planned_unit_id IN (SELECT id FROM fleet_unit WHERE number = ANY(%s))"
    times = 10
    with server_setting(stage, "statement_timeout", "400ms"):
        with stage.locked("fleet_trip", trips, scene.units):  # readings are written by then, trips are waited for
            answers = [sender.post([plain(unit, at) for unit in scene.units]) for _ in range(times)]
        half = stage.stored(scene)
        answer = sender.deliver([plain(unit, at) for unit in scene.units])
    stored = stage.stored(scene)
    Result(
        "statement cancelled in the middle of a batch", times, sender.taken, stored,
        note="503 with Retry-After each time, nothing of the batch stored; then accepted",
    ).save("32-statement-timeout")  # fmt: skip
    assert [status for status, _, _ in answers] == [503] * times
    assert all("Retry-After" in fields for _, fields, _ in answers)
    assert half == 0
    assert answer is not None
    assert answer["accepted"] == stored == len(scene.units)


@pytest.mark.short
def test_a_deadlock_is_tried_again_and_answered_once(often: Callable[[int, int], int], stage: Stage) -> None:
    """Somebody locks the second unit, the batch locks the first and waits, somebody wants the first: one must go."""
    times = often(1, 3)
    scene = stage.scene("deadlock", fleets=times, units=2)
    taken = 0
    for fleet in scene.fleets:
        sender = Sender(stage.service.web_port, fleet["integrator"])
        first, second = fleet["units"]
        state = "unit_id = (SELECT id FROM fleet_unit WHERE number = %s)"
        with stage.locked("fleet_unitstate", state, second) as rival:
            batch = [plain(unit, datetime.now(UTC)) for unit in (first, second)]
            client = stage.in_background(lambda sender=sender, batch=batch: sender.post(batch))
            wait_for("the batch to wait", lambda: stage.waiting(longer_than_s=0.1) > 0, within_s=20)
            # Whoever has waited longest looks for a deadlock first, and gives way: that is the batch.
            rival.execute(f"SELECT 1 FROM fleet_unitstate WHERE {state} FOR UPDATE".encode(), (first,))
        status, _, _ = client.result(30)
        assert status == 207
        taken += sender.taken
    stored, tries = stage.stored(scene), stage.service.logged("web").count("Transaction is tried again")
    Result("deadlock with a batch", times, taken, stored, note="the client sees nothing but a slower answer").save(
        "33-deadlock"
    )
    assert stored == taken == times * 2
    assert tries >= times


def test_serialization_failures_are_tried_again_or_refused_whole(stage: Stage) -> None:
    """Four senders press on the same two units while every transaction of the server is serializable."""
    scene = stage.scene("serial", fleets=1, units=2)
    at = datetime.now(UTC) - timedelta(hours=2)

    def press(which: int) -> Sender:
        sender = Sender(stage.service.web_port, scene.fleets[0]["integrator"], pause_s=0.05)
        for i in range(60):
            moment = at + timedelta(seconds=i * 10 + which)
            sender.deliver([plain(unit, moment) for unit in scene.units])
        return sender

    before = stage.service.logged("web").count("Transaction is tried again")
    with server_setting(stage, "default_transaction_isolation", "serializable"), ThreadPoolExecutor(4) as pool:
        senders = list(pool.map(press, range(4)))
    tried = stage.service.logged("web").count("Transaction is tried again") - before
    accepted, stored = sum(sender.taken for sender in senders), stage.stored(scene)
    refused = sum(sender.statuses[503] for sender in senders)
    Result(
        "serialization failures", tried, accepted, stored,
        note=f"{refused} requests gave up after three tries and were answered 503; their senders repeated",
    ).save("34-serialization")  # fmt: skip
    assert stored == accepted == 4 * 60 * 2
    assert tried > 0
    assert not any(sender.statuses[500] for sender in senders)
