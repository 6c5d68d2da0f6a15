"""Waiting for other processes: as long as a quiet machine may need, and more on one that is busy with other things."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

PATIENCE = 3.0
"""A machine that others share may be so many times slower."""


def wait_for(what: str, look: Callable[[], Any], *, within_s: float, look_every_s: float = 0.05) -> Any:
    """The first true answer of *look*; fails with *what* when there is none in PATIENCE times *within_s*."""
    give_up_at = time.monotonic() + PATIENCE * within_s
    while True:
        if found := look():
            return found
        if time.monotonic() > give_up_at:
            raise AssertionError(f"waited {PATIENCE * within_s:g} s in vain: {what}")
        time.sleep(look_every_s)
