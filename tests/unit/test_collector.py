"""The garbage collector waits as long as anyone asks it to, and no longer."""

from __future__ import annotations

import gc
import threading
from collections.abc import Iterator

import pytest

from fleet.collector import collector_waits


@pytest.fixture(autouse=True)
def _at_work() -> Iterator[None]:
    gc.enable()
    yield
    gc.enable()


def test_it_waits_inside_and_works_again_outside() -> None:
    with collector_waits():
        assert not gc.isenabled()
    assert gc.isenabled()


def test_it_works_again_after_an_error() -> None:
    with pytest.raises(ZeroDivisionError), collector_waits():
        _ = 1 / 0
    assert gc.isenabled()


def test_a_function_can_ask_for_it_each_time_it_is_called() -> None:
    @collector_waits()
    def seen() -> bool:
        return gc.isenabled()

    assert [seen(), seen()] == [False, False]
    assert gc.isenabled()


def test_it_waits_for_the_last_of_two_threads() -> None:
    inside, leave = threading.Event(), threading.Event()

    def other() -> None:
        with collector_waits():
            inside.set()
            assert leave.wait(10)

    thread = threading.Thread(target=other)
    thread.start()
    assert inside.wait(10)
    with collector_waits():
        pass
    still_waiting = not gc.isenabled()
    leave.set()
    thread.join(10)
    assert still_waiting
    assert gc.isenabled()


def test_where_it_was_off_it_stays_off() -> None:
    gc.disable()
    with collector_waits():
        pass
    assert not gc.isenabled()
