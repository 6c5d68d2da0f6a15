"""Where in a unit's readings learning may look: spans with shut doors in which nobody touched the unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermal.health.readings import Readings

__all__ = ["Span", "flat", "spans_of"]

LONGEST_GAP_S = 70 * 60.0
"""A parked unit may report hourly; a longer silence ends a span."""
LONGEST_GAP_ON_S = 20 * 60.0


@dataclass(frozen=True, slots=True)
class Span:
    """Readings first..last (inclusive positions) with shut doors and one state of the switch."""

    first: int
    last: int
    on: bool


def spans_of(readings: Readings) -> list[Span]:
    """Return the spans of at least two readings, in order.

    A reading without a word of the switch or the doors keeps what was said last; before anything was said the unit
    counts as off and shut. A reading with open doors belongs to no span.
    """
    n = len(readings)
    if n < 2:
        return []
    on, shut = _held(readings.on, 0.0) > 0.5, _held(readings.door, 0.0) < 0.5
    gap = np.diff(readings.at_s)
    limit = np.where(on[1:] & on[:-1], LONGEST_GAP_ON_S, LONGEST_GAP_S)
    joined = shut[1:] & shut[:-1] & (on[1:] == on[:-1]) & (gap <= limit)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], joined, [False]]).astype(np.int8)))
    return [Span(int(a), int(b), bool(on[a])) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def flat(values: NDArray[np.float64], *, run: int) -> NDArray[np.bool_]:
    """Return which values belong to a run of at least `run` equal ones: a sensor that moves shows noise.

    NaN neither makes nor breaks a run.
    """
    out = np.zeros(len(values), dtype=np.bool_)
    known = np.flatnonzero(np.isfinite(values))
    if len(known) < run:
        return out
    new = np.concatenate([[True], np.diff(values[known]) != 0.0])
    group = np.cumsum(new) - 1
    out[known] = np.bincount(group)[group] >= run
    return out


def _held(values: NDArray[np.float64], start: float) -> NDArray[np.float64]:
    """Return the values with each NaN replaced by the last known one."""
    known = np.where(np.isfinite(values), np.arange(len(values)), -1)
    place = np.maximum.accumulate(known)
    return np.where(place >= 0, values[np.maximum(place, 0)], start)
