"""Which events each of the two carriers has taken, and for how long both have known the same of a unit."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from tests.faults.winter.radio import Winter

SOON_ENOUGH = timedelta(minutes=10)
"""An event that the second carrier takes so soon after the first has changed nothing that lasts."""


class Knowledge:
    """Is told of every event that a carrier took, in order of time."""

    def __init__(self, winter: Winter) -> None:
        self.winter = winter
        self.taken: dict[str, set[str]] = defaultdict(set)
        self.apart: dict[str, dict[str, datetime]] = defaultdict(dict)
        """Unit to the events that one carrier has and the other has not, with when it took them."""
        self.agreed_at: dict[str, datetime] = {}
        """Unit to the last time at which an event came that the other carrier had had for long."""

    def learn(self, carrier: str, lines: Iterable[str], now: datetime) -> None:
        known = self.taken[carrier]
        for line in lines:
            if line in known:
                continue
            known.add(line)
            number = self.winter.unit_of[line]
            first_at = self.apart[number].pop(line, None)
            if first_at is None:
                self.apart[number][line] = now
            elif now - first_at > SOON_ENOUGH:
                self.agreed_at[number] = now

    def agreed_for(self, number: str, now: datetime) -> timedelta | None:
        """For how long both carriers have known the same of the unit; None while they do not."""
        if self.apart[number]:
            return None
        return now - self.agreed_at.get(number, self.winter.start)
