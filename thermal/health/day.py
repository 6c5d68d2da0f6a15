"""One day of readings in, everything learned from it out: the only call the rows need."""

from __future__ import annotations

from dataclasses import dataclass

from thermal.health.insulation import DayHeat, day_heat
from thermal.health.readings import Plant, Readings
from thermal.health.strength import DayRise, day_rise
from thermal.health.tank import DayTank, day_tank

__all__ = ["AFTER_S", "BEFORE_S", "DAY_S", "Day", "learn_day"]

DAY_S = 86_400.0
BEFORE_S, AFTER_S = 6 * 3600.0, 2 * 3600.0
"""What a day's readings have to reach beyond it: to settle before, to see a step of the gauge whole after."""


@dataclass(frozen=True, slots=True)
class Day:
    """Everything one day told of one unit; `number` counts days."""

    number: int
    heat: DayHeat
    rise: DayRise
    tank: DayTank


def learn_day(
    readings: Readings, plant: Plant, *, number: int, start_s: float, full_rise_k: float | None = None
) -> Day:
    """Return what the day that begins at start_s tells.

    Parameters
    ----------
    readings : Readings
        From `BEFORE_S` before the day to `AFTER_S` after it.
    plant : Plant
        The unit's design.
    number : int
        The day's number, for the order.
    start_s : float
        Its begin in the time of the readings [s].
    full_rise_k : float or None
        Rise of the air at full fire learned before; without it the day's own is taken [K].

    Notes
    -----
    A pure function of its arguments: the order in which days are worked out, or how often, changes nothing.
    """
    end_s = start_s + DAY_S
    rise = day_rise(readings, plant, start_s=start_s, end_s=end_s)
    if full_rise_k is None and rise.n:
        full_rise_k = rise.mean_k
    inner = readings.between(start_s - BEFORE_S, end_s)
    return Day(
        number,
        day_heat(inner, plant, start_s=start_s, end_s=end_s, full_rise_k=full_rise_k),
        rise,
        day_tank(readings, plant, start_s=start_s, end_s=end_s, full_rise_k=full_rise_k),
    )
