"""What both carriers answer about the same trip at the same moment, while both know the same of its unit.

Compared are the verdict, what each check found, the holds with their causes, and whether somebody was told: at every
try to leave, and of every live trip once an hour. Where one of the two knows an event that the other has not taken,
they may differ; so they may while people last inspected the unit at different times, because what they mended had come
to light at different times, and while alarms of our own rules differ, which depend on what was known when they looked.
"""

from __future__ import annotations

from collections import Counter
from datetime import datetime, timedelta
from typing import Any

from alarms.models import Alarm, NoticeSubject, Scheme
from fleet.models import Hold, Phase, Role
from tests.faults.winter.carrier import Carrier
from tests.faults.winter.knowledge import Knowledge

SETTLES = timedelta(minutes=45)
"""So long both must have known the same: quiet alarms close after thirty minutes, holds lift after five."""


class Moments:
    """Counts the moments by what was answered, and keeps those at which the answers differ."""

    def __init__(self, rough: Carrier, calm: Carrier, knowledge: Knowledge) -> None:
        self.both, self.knowledge = (rough, calm), knowledge
        self.departures: Counter[str] = Counter()
        self.hours: Counter[str] = Counter()
        self.held = 0
        self.not_comparable = 0
        self.differing: list[Any] = []

    def at_departure(self, trip: dict[str, Any], now: datetime) -> None:
        self._compare(trip, now, self.departures)

    def at_hour(self, trip: dict[str, Any], now: datetime) -> None:
        self._compare(trip, now, self.hours)

    def _compare(self, trip: dict[str, Any], now: datetime, counted: Counter[str]) -> None:
        if not self._comparable(trip["unit"], now):
            self.not_comparable += 1
            return
        rough, calm = (answer_of(carrier, trip["reference"]) for carrier in self.both)
        counted[rough["verdict"]] += 1
        self.held += bool(rough["holds"])
        if rough != calm:
            apart = {name: (rough[name], calm[name]) for name in rough if rough[name] != calm[name]}
            self.differing.append((now.isoformat(), trip["reference"], trip["unit"], apart))

    def _comparable(self, number: str, now: datetime) -> bool:
        agreed = self.knowledge.agreed_for(number, now)
        if agreed is None or agreed < SETTLES:
            return False
        rough, calm = ((carrier.inspected.get(number), own_alarms_of(carrier, number)) for carrier in self.both)
        return rough == calm


def own_alarms_of(carrier: Carrier, number: str) -> list[str]:
    """Codes of the unit's open alarms of our own rules."""
    rows = Alarm.objects.for_fleet(carrier.fleet).filter(unit__number=number, scheme=Scheme.DERIVED, open_rank=1)
    return sorted(rows.values_list("code", flat=True))


def answer_of(carrier: Carrier, reference: str) -> dict[str, Any]:
    """The present answer in words that two carriers can be compared by: no row ids, no times of computing.

    `told`: of each notice that stands because of the trip, whether somebody has been told.
    """
    said = carrier.ask(Role.DISPATCHER, "get", f"trips/{reference}/readiness/").json()
    standing = NoticeSubject.objects.for_fleet(carrier.fleet).filter(hold__trip__reference=reference, ended_at=None)
    return {
        "verdict": said["verdict"],
        "findings": {finding["check"]: finding["outcome"] for finding in said["findings"]},
        "holds": sorted((hold["state"], key.partition(":")[0]) for hold in holds_of(said) for key in hold["causes"]),
        "told": sorted(at is not None for at in standing.values_list("told_at", flat=True)),
    }


def holds_of(said: dict[str, Any]) -> list[dict[str, Any]]:
    """The answer's holds that still decide something.

    Of a trip that has left a released hold is only the record of what a person decided before, by what was known then;
    it was compared at the gate if both knew the same there.
    """
    return [hold for hold in said["holds"] if hold["state"] == Hold.State.OPEN or said["phase"] == Phase.PLANNED]
