"""What a process does once before its first request or task, so that the first caller does not pay for it.

Apps add theirs in `AppConfig.ready()`; the WSGI entry point and every worker process run them. A warmer that fails is
logged and left: it only costs time later.
"""

from __future__ import annotations

import gc
import logging
from collections.abc import Callable
from dataclasses import dataclass

from fleet.registry import Registry

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Warmer:
    """One thing to do at the start of a process."""

    id: str
    run: Callable[[], None]


warmers: Registry[Warmer] = Registry("warmers")


def warm_up_process() -> None:
    """Runs every warmer once, then takes what the start has made out of the garbage collector's sight."""
    for warmer in warmers:
        try:
            warmer.run()
        except Exception:
            logger.exception("Warmer %s failed", warmer.id)
    # What is here now stays for the life of the process; looking through it again at every full collection stalled
    # an answer about a thousand units for tenths of a second.
    gc.collect()
    gc.freeze()
