"""Fuel by the gauge and by the work: how much the heater burns, what was filled in, and what went another way.

Fuel used follows from the run (`thermal.health.heating`), so gauge plus expected use is flat between events. A step up
is a fill. A step down is fuel that no run explains: taken, spilt, or a gauge that jumped.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from thermal.health.heating import heating_of
from thermal.health.readings import Plant, Readings
from thermal.health.spans import flat, spans_of
from thermal.ranges import Array

__all__ = ["DayTank", "Event", "EventKind", "burn_of", "day_tank", "gauge_of"]

HOUR_S = 3600.0
LEAST_STEP_L, LEAST_STEP_SD = 7.0, 6.0
"""A step counts from so many litres and so many spreads of the gauge on."""
WINDOW = 4
GAUGE_SD_L = 2.0
"""Spread of a gauge reading around the truth, slow waves of it included (assumption)."""
STUCK_READINGS, STUCK_USE_L = 8, 1.0
BACK_WITHIN_S = 2 * HOUR_S
FILLS_AT_START_S = 600.0
SMALL_FILL_SD_L, SMALL_FILL_SCORE = 1.2, 4.0
SHORTEST_PARKED_S = 4 * HOUR_S
FILLS_TO_JUDGE = 4
FULL_SHARE = 0.12
"""A level within this share of the tank after a fill is taken for a full tank."""
FULL_RUN_SHARE = 1.3


class EventKind(StrEnum):
    """What a step of the gauge was."""

    FILL = "fill"
    DROP = "drop"


@dataclass(frozen=True, slots=True)
class Event:
    """One step: between which readings [s], how much [L, above 0], the level after it, and the switch then."""

    kind: EventKind
    after_s: float
    before_s: float
    litres: float
    level_l: float
    on: bool


@dataclass(frozen=True, slots=True)
class DayTank:
    """One day: events, and the sums of a regression of the gauge on expected use (`squares` L2, `products` L2, used L);
    parked: the same of the gauge on hours without a run (h2, L h)."""

    events: tuple[Event, ...] = ()
    squares: float = 0.0
    products: float = 0.0
    used_l: float = 0.0
    parked_squares: float = 0.0
    parked_products: float = 0.0


def day_tank(
    readings: Readings, plant: Plant, *, start_s: float, end_s: float, full_rise_k: float | None, burn: float = 1.0
) -> DayTank:
    """Return what the gauge says of one day.

    Parameters
    ----------
    readings : Readings
        One unit, some hours longer than the day on both sides, so that steps at its ends are seen whole.
    plant : Plant
        Its design: burn and tank.
    start_s, end_s : float
        The day, in the time of the readings [s]; events count where they end.
    full_rise_k : float or None
        See `thermal.health.insulation.day_heat`.
    burn : float
        Burn relative to the design, learned before [-].
    """
    use = _use(readings, plant, full_rise_k) * burn
    seen = np.isfinite(readings.fuel_l) & ~_stuck(readings.fuel_l, use)
    at_s, fuel, used = readings.at_s[seen], readings.fuel_l[seen], use[seen]
    on = readings.on[seen] == 1
    if len(at_s) < 2 * WINDOW:
        return DayTank()
    steps = _steps(at_s, fuel, fuel + used, on, plant)
    events = tuple(event for event in steps if start_s <= event.before_s < end_s)
    cuts = [event.before_s for event in steps]
    inside = (at_s >= start_s) & (at_s < end_s)
    sums = np.zeros(5)
    for span in spans_of(readings):
        # Small fills hide below the noise; people fill while the unit is off or as they switch it on.
        since, until = readings.at_s[span.first] + FILLS_AT_START_S * span.on, readings.at_s[span.last]
        whole = inside & (at_s >= since) & (at_s <= until)
        piece = np.searchsorted(cuts, at_s, side="right")
        for number in np.unique(piece[whole]):
            own = whole & (piece == number)
            sums += _heated(used[own] / burn, fuel[own]) if span.on else _parked(at_s[own], fuel[own])
    return DayTank(events, *(float(value) for value in sums))


def _heated(used: Array, fuel: Array) -> Array:
    """Return squares, products and use of a regression of the gauge on expected use, zeros for the parked sums."""
    split = _small_fill(used + fuel)
    if split:
        return _heated(used[:split], fuel[:split]) + _heated(used[split:], fuel[split:])
    apart = used - used.mean()
    return np.array([apart @ apart, -(apart @ fuel), used[-1] - used[0], 0.0, 0.0])


def _small_fill(level: Array) -> int:
    """Return where the level rises for good by less than a step can show, 0 for nowhere."""
    n = len(level)
    if n < 4 * WINDOW:
        return 0
    places = np.arange(WINDOW, n - WINDOW)
    sums = np.cumsum(level)[places - 1]
    rise = (sums[-1] + level[places[-1] :].sum() - sums) / (n - places) - sums / places
    score = rise * np.sqrt(places * (n - places) / n) / SMALL_FILL_SD_L
    best = int(np.argmax(score))
    return int(places[best]) if score[best] > SMALL_FILL_SCORE else 0


def _parked(at_s: Array, fuel: Array) -> Array:
    hours = (at_s - at_s.mean()) / HOUR_S
    if at_s[-1] - at_s[0] < SHORTEST_PARKED_S:
        return np.zeros(5)
    return np.array([0.0, 0.0, 0.0, hours @ hours, hours @ fuel])


def _use(readings: Readings, plant: Plant, full_rise_k: float | None) -> Array:
    """Return the fuel the design burns for the run since the first reading [L]."""
    heating = heating_of(readings, plant, full_rise_k=full_rise_k)
    full_h = heating.full_h
    if plant.always_runs:
        turning = np.where(np.isfinite(readings.on), readings.on, 0.0)
        hours = np.concatenate([[0.0], np.cumsum(np.diff(readings.at_s) * (turning[1:] + turning[:-1]) / 2)]) / HOUR_S
        return plant.burn_low_l_h * hours + (plant.burn_l_h - plant.burn_low_l_h) * full_h
    return plant.burn_l_h * full_h


def _stuck(fuel: Array, use: Array) -> NDArray[np.bool_]:
    """Return readings of a gauge that stands still while fuel is used."""
    still = flat(fuel, run=STUCK_READINGS)
    out = np.zeros(len(fuel), dtype=np.bool_)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        out[a:b] = use[b - 1] - use[a] > STUCK_USE_L
    return out


def _steps(at_s: Array, fuel: Array, level: Array, on: Array, plant: Plant) -> list[Event]:
    """Return the steps of gauge plus use, largest of each neighbourhood, without those that are taken back."""
    spread = 1.4826 * float(np.median(np.abs(np.diff(level)))) / np.sqrt(2.0)
    least = max(LEAST_STEP_L, LEAST_STEP_SD * spread)
    events: list[Event] = []
    i = WINDOW
    jumps = _jumps(level)
    while i < len(level):
        if abs(jumps[i]) < least:
            i += 1
            continue
        stop = min(i + WINDOW, len(level))
        local = np.abs(np.diff(level[i - 1 : stop]))
        place = i + int(np.argmax(local))
        jump = float(jumps[place])
        gap_s = float(at_s[place] - at_s[place - 1])
        # What a silent gap may hide: full fire all through it.
        hidden = plant.burn_l_h * FULL_RUN_SHARE * gap_s / HOUR_S if jump < 0 and gap_s > 2 * HOUR_S else 0.0
        if abs(jump) - hidden >= least:
            kind = EventKind.FILL if jump > 0 else EventKind.DROP
            after = float(np.median(fuel[place : place + WINDOW]))
            events.append(Event(kind, float(at_s[place - 1]), float(at_s[place]), abs(jump), after, bool(on[place])))
        i = place + WINDOW
    return _kept(events)


def _jumps(level: Array) -> Array:
    """Return for each place the median after it (itself included) minus the median before; 0 too near the ends."""
    padded = np.concatenate([level[:1].repeat(WINDOW), level, level[-1:].repeat(WINDOW)])
    medians = np.median(np.lib.stride_tricks.sliding_window_view(padded, WINDOW), axis=1)
    jumps: Array = medians[WINDOW : WINDOW + len(level)] - medians[: len(level)]
    jumps[:2] = jumps[-1:] = 0.0
    return jumps


def _kept(events: list[Event]) -> list[Event]:
    """Return the events without pairs that undo each other: a gauge that jumped and came back."""
    kept: list[Event] = []
    for event in events:
        last = kept[-1] if kept else None
        undone = (
            last is not None
            and last.kind is EventKind.DROP
            and event.kind is EventKind.FILL
            and event.before_s - last.before_s <= BACK_WITHIN_S
            and abs(event.litres - last.litres) < 3.0
        )
        if undone:
            kept.pop()
        else:
            kept.append(event)
    return kept


def gauge_of(days: list[DayTank], *, tank_l: float) -> float | None:
    """Return how much more than a full tank the gauge shows after fills [L], the median of the last ones.

    A fill need not be to the brim, so only what is above the tank's size is proof; below it, None.
    """
    levels = [
        event.level_l - tank_l
        for day in days
        for event in day.events
        if event.kind is EventKind.FILL and abs(event.level_l - tank_l) < FULL_SHARE * tank_l
    ][-FILLS_TO_JUDGE:]
    if len(levels) < 2:
        return None
    high = float(np.median(levels))
    return high if high > 0 else None


def burn_of(days: list[DayTank]) -> tuple[float, float] | None:
    """Return burn relative to the design and its sd, with the prior 1 +- 0.1; None before 5 L were used."""
    used = sum(day.used_l for day in days)
    if used < 5.0:
        return None
    precision = 0.1**-2 + sum(day.squares for day in days) / (GAUGE_SD_L**2 * 2)
    vector = 0.1**-2 + sum(day.products for day in days) / (GAUGE_SD_L**2 * 2)
    return vector / precision, float(np.hypot(precision**-0.5, 0.02))
