"""Since when a unit loses more heat, for what its heater gives, than it did; and whether box or heater changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import hypot, inf, log

from thermal.health.cusum import first_shift
from thermal.health.day import Day
from thermal.health.series import mean_of, points_of
from thermal.health.strength import rise_of

__all__ = ["RISE_DAYS", "Cause", "Change", "cause_of", "change_of"]

LEAST_CHANGE = 0.10
BASELINE_DAYS = 5
MOST_Z = 3.0
"""One day alone proves no change, however odd it is."""
RISE_DAYS = 5


class Cause(StrEnum):
    """What a change of heat lost over heat given comes from."""

    BOX = "box"
    HEATER = "heater"
    EITHER = "either"


@dataclass(frozen=True, slots=True)
class Change:
    """A step or the end of a trend: the first day after it, new over old UA/Q, and what it comes from."""

    since: int
    factor: float
    cause: Cause


def change_of(days: Sequence[Day], scale: float) -> tuple[Change | None, float]:
    """Return the newest change of UA/Q, and the number of the first day after it (-inf without one)."""
    points = points_of(days, scale)
    change, start, since = None, 0, -inf
    while len(points) - start > BASELINE_DAYS:
        part = points[start:]
        old, old_sd = mean_of(part[:BASELINE_DAYS])
        z, known = [], list(part[:BASELINE_DAYS])
        for point in part[BASELINE_DAYS:]:
            apart = (point[1] - old) / hypot(point[2], old_sd)
            z.append(max(-MOST_Z, min(apart, MOST_Z)))
            if abs(z[-1]) < 1.0:
                known.append(point)
                old, old_sd = mean_of(known)
        shift = first_shift(z)
        if shift is None:
            break
        began = BASELINE_DAYS + shift.began
        before, after = mean_of(part[:began])[0], mean_of(part[began : BASELINE_DAYS + shift.found + 1])[0]
        start += began
        if abs(after / before - 1) < LEAST_CHANGE:
            continue
        since = part[began][0]
        change = Change(int(since), after / before, Cause.EITHER)
    return change, since


def cause_of(days: Sequence[Day], change: Change) -> Cause:
    """Return where a change comes from: a rise that moved as UA/Q did is the heater's."""
    before = rise_of([day.rise for day in days if day.number < change.since][-RISE_DAYS:])
    after = rise_of([day.rise for day in days if day.number >= change.since][:RISE_DAYS])
    if before is None or after is None:
        return Cause.EITHER
    heater = log(before[0] / after[0]) / log(max(change.factor, 0.05))
    return Cause.HEATER if heater > 0.5 else Cause.BOX
