"""The gate of heavy requests: so many inside, so many waiting, everybody else is sent away."""

from __future__ import annotations

import threading

from fleet.embedded.receivers import wait_for
from fleet.http.overload import Gate


def test_who_finds_no_room_and_nobody_leaving_is_sent_away() -> None:
    gate = Gate(at_once=2, waiting=0, patience_s=10)
    assert [gate.enter() for _ in range(3)] == [True, True, False]


def test_who_waits_gets_in_as_soon_as_one_leaves() -> None:
    gate = Gate(at_once=1, waiting=1, patience_s=30)
    assert gate.enter()
    came_in: list[bool] = []
    waiter = threading.Thread(target=lambda: came_in.append(gate.enter()))
    waiter.start()
    # The waiter's place is taken, so a third is sent away at once: that is how we know that it waits.
    assert wait_for(lambda: len(gate._turns) == 1)
    assert not gate.enter()
    gate.leave()
    waiter.join(10)
    assert came_in == [True]


def test_whoever_waits_goes_before_those_who_come_later() -> None:
    gate = Gate(at_once=1, waiting=3, patience_s=30)
    assert gate.enter()
    order: list[int] = []

    def wait(which: int) -> None:
        assert gate.enter()
        order.append(which)
        gate.leave()

    waiters = [threading.Thread(target=wait, args=(which,)) for which in range(3)]
    for which, waiter in enumerate(waiters):
        waiter.start()
        assert wait_for(lambda which=which: len(gate._turns) == which + 1)
    gate.leave()
    for waiter in waiters:
        waiter.join(10)
    assert order == [0, 1, 2]
    assert gate.enter()
    assert not Gate(at_once=0, waiting=0, patience_s=1).enter()


def test_nobody_waits_longer_than_patience() -> None:
    gate = Gate(at_once=1, waiting=5, patience_s=0.01)
    assert gate.enter()
    assert not gate.enter()
    gate.leave()
    assert gate.enter()


def test_however_many_press_never_more_than_allowed_are_inside() -> None:
    gate = Gate(at_once=3, waiting=4, patience_s=5)
    inside, most, lock = 0, 0, threading.Lock()
    passed: list[bool] = []

    def press() -> None:
        nonlocal inside, most
        for _ in range(200):
            if not gate.enter():
                continue
            with lock:
                inside += 1
                most = max(most, inside)
            with lock:
                inside -= 1
            gate.leave()
            passed.append(True)

    threads = [threading.Thread(target=press) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert 0 < most <= 3
    assert passed
    assert [gate.enter() for _ in range(3)] == [True, True, True]
