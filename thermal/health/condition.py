"""What many days of one unit come to: its K, its heater, its burn, how sure that is, and since when it changed.

Days add (`DayHeat`), so learning in one go and in pieces is the same. Run time tells heat lost over heat given only,
UA/Q. What departs from the design is shared between box and heater by how uncertain each was before; a dated K-test
narrows the box, a stated fan flow the heater.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, hypot, log

import numpy as np

from thermal.health.change import RISE_DAYS, Cause, Change, cause_of, change_of
from thermal.health.day import Day
from thermal.health.insulation import NOTHING, DayHeat
from thermal.health.readings import Plant
from thermal.health.series import plausible, posterior_of
from thermal.health.strength import OFFSET_SD_K, rise_of
from thermal.health.tank import burn_of, gauge_of
from thermal.normal import normal_cdf_exact

__all__ = ["Condition", "Reference", "Value", "condition_of"]

FLOOR_SD, SENSOR_LEFT_K = 0.025, 0.45
"""What never averages out: motion, films, sun; and what is left of the sensors' difference, over the mean span."""
OUTPUT_SD = 0.07
FAN_SD = 0.04
"""Spread of a stated fan flow (assumption)."""
LEAST_DAYS, LEAST_HOURS, LEAST_SPAN_K = 3, 12.0, 8.0
BETTER_HOURS, BETTER_DAYS = 60.0, 7
"""From so much data on may a unit count as better than its paper, and then only by the cautious end of the interval."""
ONE_SIDED_95 = 1.645
WORSE_RATIO, SURE = 1.25, 0.95


@dataclass(frozen=True, slots=True)
class Reference:
    """What was known before the readings: K now by design or dated test [W/m2K], sd of its logarithm, its source."""

    k_w_m2k: float
    sd_ln: float
    source: str


@dataclass(frozen=True, slots=True)
class Value:
    """A learned value with its 90 % interval; `sd_ln` is the sd of its logarithm."""

    mean: float
    sd_ln: float

    @property
    def low(self) -> float:
        return self.mean * exp(-ONE_SIDED_95 * self.sd_ln)

    @property
    def high(self) -> float:
        return self.mean * exp(ONE_SIDED_95 * self.sd_ln)


@dataclass(frozen=True, slots=True)
class Condition:
    """What is known of a unit.

    ratio: heat lost over heat given relative to the reference; k [W/m2K]; output and burn relative to the design;
    rise [K] at full fire and its share of what it was at first; `enough`: the data say more than the paper.
    """

    days: int
    hours: float
    span_k: float
    enough: bool
    ratio: Value | None
    k: Value | None
    output: Value | None
    burn: Value | None
    full_rise_k: float | None
    rise_share: float | None
    change: Change | None
    worse_chance: float | None
    gauge_high_l: float | None

    @property
    def worse(self) -> bool:
        """Whether the unit surely loses a quarter more heat, for what its heater gives, than was known before."""
        return self.enough and self.worse_chance is not None and self.worse_chance > SURE

    def cautious_k(self, reference: Reference) -> Value | None:
        """Return the K to plan with: the learned one where it is worse than the reference, the upper end of its
        interval where even that is better and much data say so, else None."""
        return _cautious(self, self.k, reference.k_w_m2k, bad_is_high=True)

    def cautious_output(self) -> Value | None:
        """Return the heat output relative to the design to plan with, by the same rule."""
        return _cautious(self, self.output, 1.0, bad_is_high=False)

    def cautious_burn(self) -> Value | None:
        """Return the burn relative to the design to plan with, by the same rule."""
        return _cautious(self, self.burn, 1.0, bad_is_high=True)


def _cautious(condition: Condition, value: Value | None, paper: float, *, bad_is_high: bool) -> Value | None:
    if value is None or not condition.enough:
        return None
    if (value.mean >= paper) is bad_is_high:
        return value
    careful = value.high if bad_is_high else value.low
    proven = (careful < paper) is bad_is_high and careful != paper
    if proven and condition.hours >= BETTER_HOURS and condition.days >= BETTER_DAYS:
        return Value(careful, value.sd_ln)
    return None


def condition_of(days: Sequence[Day], plant: Plant, reference: Reference) -> Condition:
    """Return what the days say of a unit, in any number and with gaps; they are taken in order of their numbers.

    Parameters
    ----------
    days : sequence of Day
        Days since the last test or repair of the box, each worked out with `plant`.
    plant : Plant
        The design the days were worked out with.
    reference : Reference
        What was known before.
    """
    days = sorted(days, key=lambda day: day.number)
    scale = reference.k_w_m2k / plant.k_w_m2k
    change, since = change_of(days, scale)
    present = plausible([day for day in days if day.number >= since], scale)
    total = sum((day.heat for day in present), NOTHING)
    with_data = [day for day in present if day.heat.hours > 0]
    enough = len(with_data) >= LEAST_DAYS and total.hours >= LEAST_HOURS and total.span_k >= LEAST_SPAN_K
    rise, share = _rise(days)
    if change is not None:
        change = replace(change, cause=cause_of(days, change))
    ratio = k = output = chance = None
    if total.hours > 0:
        mean, sd = _ratio(present, total, scale)
        ratio = Value(mean / scale, sd)
        chance = normal_cdf_exact((log(mean / scale) - log(WORSE_RATIO)) / sd)
        weaker = share if change is not None and change.cause is Cause.HEATER else None
        k, output = _shared(ratio, reference, plant, rise, weaker)
    burn = burn_of([day.tank for day in days])
    return Condition(
        days=len(with_data),
        hours=total.hours,
        span_k=total.span_k,
        enough=enough,
        ratio=ratio,
        k=k,
        output=output,
        burn=None if burn is None else Value(burn[0], burn[1] / burn[0]),
        full_rise_k=None if rise is None else rise[0],
        rise_share=share,
        change=change,
        worse_chance=chance,
        gauge_high_l=gauge_of([day.tank for day in days], tank_l=plant.tank_l),
    )


def _ratio(days: Sequence[Day], total: DayHeat, scale: float) -> tuple[float, float]:
    """Return UA/Q over the plant's and the sd of its logarithm, with what never averages out."""
    mean, covariance = posterior_of(days, scale)
    value = max(float(mean[0]), 0.2 * scale)
    own = float(np.sqrt(covariance[0, 0])) / value
    return value, hypot(own, FLOOR_SD, SENSOR_LEFT_K / max(total.span_k, 4.0))


def _shared(
    ratio: Value, reference: Reference, plant: Plant, rise: tuple[float, float] | None, weaker: float | None
) -> tuple[Value, Value]:
    """Return K and the output relative to the design: conjugate normal update of two logarithms by their difference."""
    q_mean, q_var = 0.0, OUTPUT_SD**2
    if plant.fan_w_k is not None and rise is not None:
        seen = log(rise[0] * plant.fan_w_k / plant.heat_w)
        seen_var = FAN_SD**2 + (rise[1] ** 2 + OFFSET_SD_K**2) / rise[0] ** 2
        q_mean, q_var = (q_mean / q_var + seen / seen_var) / (1 / q_var + 1 / seen_var), 1 / (1 / q_var + 1 / seen_var)
    elif weaker is not None:
        # UA/Q and the rise agree that the heater changed; at first it was as the design says, give or take.
        q_mean = log(weaker)
    k_var = reference.sd_ln**2
    gap = log(ratio.mean) + q_mean
    total = k_var + q_var + ratio.sd_ln**2
    k = Value(reference.k_w_m2k * exp(k_var / total * gap), (k_var * (1 - k_var / total)) ** 0.5)
    output = Value(exp(q_mean - q_var / total * gap), (q_var * (1 - q_var / total)) ** 0.5)
    return k, output


def _rise(days: Sequence[Day]) -> tuple[tuple[float, float] | None, float | None]:
    """Return the present rise with its sd, and its share of the first one."""
    known = [day.rise for day in days if day.rise.n]
    now = rise_of(known[-RISE_DAYS:])
    first = rise_of(known[:RISE_DAYS])
    if now is None or first is None or len(known) < 2 * RISE_DAYS:
        return now, None
    return now, now[0] / first[0]
