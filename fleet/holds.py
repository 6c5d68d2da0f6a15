"""Extension point 3: who is told, inside the assess transaction, that a hold opened, changed or ended, and of each
answer that was stored.

A listener that raises does not undo the hold: its savepoint rolls back and the auditor calls it again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
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
    assessed: Callable[[Sequence[tuple[Trip, Answer]], datetime], None] | None = None
    """Told of the answers the worker stores, a whole batch at once, after the holds were moved; unit states and trips
    are locked. When it fails for a batch it is told again of each answer alone, so that a trip costs only itself."""


listeners: Registry[HoldListener] = Registry("hold listeners")
