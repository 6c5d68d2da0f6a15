"""The garbage collector waits while many values are made that all go together and of which none is in a cycle.

Looking through them as they are made takes a fifth of the time of a ranking. A larger threshold for the whole process
would spare that too, but then hundreds of requests leave their cycles for one look, which stalls an answer by 50 ms.
"""

from __future__ import annotations

import gc
import threading
from collections.abc import Iterator
from contextlib import contextmanager


class _Waits:
    """How many threads ask it to wait, and whether it was at work before the first of them."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.count = 0
        self.was_at_work = False


_waits = _Waits()


@contextmanager
def collector_waits() -> Iterator[None]:
    """For the whole process, until the last thread that asked for it has ended; also a decorator."""
    with _waits.lock:
        if _waits.count == 0:
            _waits.was_at_work = gc.isenabled()
            gc.disable()
        _waits.count += 1
    try:
        yield
    finally:
        with _waits.lock:
            _waits.count -= 1
            if _waits.count == 0 and _waits.was_at_work:
                gc.enable()
