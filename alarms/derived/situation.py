"""What a rule of our own may read about one unit on one trip, as frozen values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from fleet.readiness.facts import Facts, Known
from fleet.readiness.findings import Finding

LOOK_BACK = timedelta(minutes=90)
"""Readings older than this do not take part (choice: long enough for three readings half an hour apart)."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One stored reading, the fields that rules look at. Temperatures in °C."""

    at: datetime
    return_air_c: float | None = None
    discharge_air_c: float | None = None
    cargo_c: float | None = None
    heater_running: bool | None = None
    door_open: bool | None = None


@dataclass(frozen=True, slots=True)
class Situation:
    """One unit on its trip at one moment."""

    facts: Facts
    findings: Mapping[str, Finding]
    """The newest answer's findings by check id."""
    samples: tuple[Sample, ...]
    """Readings of the last `LOOK_BACK`, oldest first."""
    held_since: datetime | None
    """Since when this trip is held with this unit; None without an open hold."""
    held_place: tuple[float, float] | None
    """About where the unit stood when the hold was first seen: latitude and longitude in degrees."""
    open_codes: frozenset[str]
    """What our own rules find at present, whatever people did to the records of it."""
    now: datetime

    def fresh(self, name: str) -> Known | None:
        """A value of the unit's state that is young enough to say something about now."""
        known = self.facts.unit.values.get(name)
        return known if known is not None and known.age(self.now) <= self.fresh_for else None

    @property
    def fresh_for(self) -> timedelta:
        return timedelta(minutes=self.facts.policy.telemetry_soft_on_min)

    @property
    def newest(self) -> Sample | None:
        """The newest reading, if it is young enough."""
        if not self.samples or self.now - self.samples[-1].at > self.fresh_for:
            return None
        return self.samples[-1]

    def run(self, holds: Callable[[Sample], bool | None]) -> tuple[Sample, ...]:
        """The unbroken run of readings, up to the newest, of which *holds* is true.

        A reading of which it cannot be said (None: a value is missing) neither belongs to the run nor breaks it.
        """
        found: list[Sample] = []
        for sample in reversed(self.samples):
            verdict = holds(sample)
            if verdict is False:
                break
            if verdict:
                found.append(sample)
        return tuple(reversed(found))


def lasting(run: tuple[Sample, ...], at_least: timedelta) -> bool:
    """Whether a run has two readings or more, the first and last this far apart."""
    return len(run) >= 2 and run[-1].at - run[0].at >= at_least
