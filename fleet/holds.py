"""Extension point 3: who is told, inside the assess transaction, that a hold opened, changed or ended, and of each
answer that was stored.

A listener that raises does not undo the hold: its savepoint rolls back and the auditor calls it again.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.registry import Registry

if TYPE_CHECKING:
    from fleet.models import Hold, Trip
    from fleet.readiness.assess import Answer


class HoldChange(StrEnum):
    OPENED = "opened"
    CHANGED = "changed"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class HoldListener:
    """Told of every change of a hold; must bear being told twice."""

    id: str
    told: Callable[[Hold, HoldChange, datetime], None]
    missed: Callable[[datetime], int]
    """Looks for holds this listener was never told of, mends that, and says how many. The auditor calls it."""
    assessed: Callable[[Trip, Answer, datetime], None] | None = None
    """Told of every answer the worker stores, after the hold was moved; unit state and trip are locked."""
    concerned: Callable[[Sequence[Trip]], Collection[int]] | None = None
    """Which of these trips `assessed` has something to do for, by id: one statement for a whole batch instead of one
    per trip. None: all of them."""


listeners: Registry[HoldListener] = Registry("hold listeners")
