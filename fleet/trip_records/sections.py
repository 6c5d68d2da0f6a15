"""Extension point of the trip record: each section says what it knows, as data for machines and as lines for people.

Apps add theirs in `AppConfig.ready()`. A section reads a constant number of statements; None: it has nothing to say.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fleet.charts.measured import Measured
from fleet.charts.picture import Picture
from fleet.models import Trip, Unit
from fleet.registry import Registry

MEASURED = (
    "return_air_c", "discharge_air_c", "cargo_c", "ambient_c", "set_point_c", "fuel_l", "heater_running", "door_open",
)  # fmt: skip
"""Fields that every section finds in `Scope.measured`."""


@dataclass(frozen=True, slots=True)
class Scope:
    """What a record is about: one trip with the unit that carried it, from loading until delivery (or until now)."""

    trip: Trip
    unit: Unit
    since: datetime
    until: datetime
    measured: Measured


@dataclass(frozen=True, slots=True)
class Grid:
    """A table of texts with its head; `shares` are the widths of its columns, relative."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Content:
    """What one section says. `data` is JSON: it is what the record's hash covers; the rest is the same for people."""

    data: Any
    lines: tuple[str, ...] = ()
    grids: tuple[Grid, ...] = ()
    picture: Picture | None = None


@dataclass(frozen=True, slots=True)
class Section:
    id: str
    order: int
    title: str
    content: Callable[[Scope], Content | None]


sections: Registry[Section] = Registry("sections of the trip record")


def contents(scope: Scope) -> list[tuple[Section, Content]]:
    """Every section that has something to say, in the order they ask for."""
    ordered = sorted(sections, key=lambda section: (section.order, section.id))
    said = ((section, section.content(scope)) for section in ordered)
    return [(section, content) for section, content in said if content is not None]


def moment(at: datetime | None) -> str:
    """A moment for people: UTC, to the minute."""
    return "–" if at is None else f"{at:%Y-%m-%d %H:%M} UTC"


def length(seconds: float) -> str:
    """A length of time for people: `25 min`, `3 h 20 min`."""
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def number(value: float | None, digits: int = 1) -> str:
    return "–" if value is None else f"{value:.{digits}f}"


Data = Mapping[str, Any]
