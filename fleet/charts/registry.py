"""Extension points of the charts: who draws a trip, and who knows moments worth a mark.

Apps fill these in `AppConfig.ready()`, so that mail, pages and records draw what they need not know.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from fleet.charts.picture import Mark, Picture
from fleet.models import Trip
from fleet.registry import Registry

FORECAST = "forecast"
"""Id of the chart of what is expected of a trip, and what was measured on it."""


@dataclass(frozen=True, slots=True)
class TripChart:
    """One chart of a trip. `picture` reads a constant number of statements; the trip's units, their models, states and
    the fleet's policy are loaded (`trips_with_units`)."""

    id: str
    picture: Callable[[Trip, datetime], Picture]


@dataclass(frozen=True, slots=True)
class MarkSource:
    """Moments of a unit in [since, until), in order of time: called with (unit id, since, until)."""

    id: str
    marks: Callable[[int, datetime, datetime], Sequence[Mark]]


trip_charts: Registry[TripChart] = Registry("charts of a trip")
mark_sources: Registry[MarkSource] = Registry("marks on charts")


def marks_of(unit_id: int, *, since: datetime, until: datetime) -> tuple[Mark, ...]:
    """What every source knows of a unit, in order of time."""
    found = [mark for source in mark_sources for mark in source.marks(unit_id, since, until)]
    return tuple(sorted(found, key=lambda mark: (mark.at_s, mark.kind, mark.name)))
