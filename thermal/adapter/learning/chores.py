"""What learning asks of the sweep. A lane of its own: learning never keeps an assessment or a message waiting."""

from __future__ import annotations

from datetime import datetime

from fleet.sweep import Chore, chores
from thermal.adapter.learning.days import learn_due
from thermal.adapter.learning.watching import watch_due

LEARN = "learn"
DAYS_EVERY_S, WATCH_EVERY_S = 60.0, 30.0


def learn(now: datetime) -> int:
    return learn_due(now=now)


def watch(now: datetime) -> int:
    return watch_due(now=now)


CHORES = (
    Chore("thermal.learn", learn, every_s=DAYS_EVERY_S, lane=LEARN),
    Chore("thermal.watch", watch, every_s=WATCH_EVERY_S, lane=LEARN),
)


def register() -> None:
    for chore in CHORES:
        chores.add(chore)
