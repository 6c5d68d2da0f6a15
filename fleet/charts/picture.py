"""What a chart shows, as plain frozen values in metric units and seconds since 1970: no drawing, no rows.

Whoever knows something worth seeing makes a `Picture`; `fleet.charts.draw` draws every one of them the same way, and
`fleet.charts.table` says the same in numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class Role(StrEnum):
    """What a line stands for; decides its colour and, as no colour speaks alone, its stroke."""

    EDGE = "edge"
    CORE = "core"
    AIR = "air"
    DISCHARGE = "discharge"
    AMBIENT = "ambient"
    SET_POINT = "set_point"
    CARGO = "cargo"
    NEEDED = "needed"
    AVAILABLE = "available"
    GIVEN = "given"
    FUEL = "fuel"
    TIME_LEFT = "time_left"
    DUTY = "duty"


@dataclass(frozen=True, slots=True)
class Line:
    """One series: `at_s` and `values` (n,), values NaN where nothing is known. `measured`: drawn as points on top of
    what was calculated. `steps`: each value holds until the next."""

    name: str
    role: Role
    at_s: Array
    values: Array
    measured: bool = False
    steps: bool = False


@dataclass(frozen=True, slots=True)
class Ribbon:
    """A band between `low` and `high` (n,)."""

    name: str
    role: Role
    at_s: Array
    low: Array
    high: Array


@dataclass(frozen=True, slots=True)
class Limit:
    """A level that holds all the time: an end of the agreed range, a damage limit, a reserve."""

    name: str
    value: float
    hard: bool = False
    """Whether harm is done beyond it."""


@dataclass(frozen=True, slots=True)
class Panel:
    """One strip of the chart with its own scale. `unit`: degC, L, kW, h or %."""

    title: str
    unit: str
    lines: tuple[Line, ...]
    ribbons: tuple[Ribbon, ...] = ()
    limits: tuple[Limit, ...] = ()
    height: float = 1.0
    """Relative to the other panels."""
    from_zero: bool = False


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time with a name: a stop, or doors that were open."""

    kind: str
    name: str
    from_s: float
    until_s: float


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment with a name: an alarm, a departure."""

    kind: str
    name: str
    at_s: float


@dataclass(frozen=True, slots=True)
class Picture:
    """A whole chart."""

    title: str
    since_s: float
    until_s: float
    panels: tuple[Panel, ...]
    spans: tuple[Span, ...] = ()
    marks: tuple[Mark, ...] = ()
    now_s: float | None = None
    words: tuple[str, ...] = ()
    """What a person who cannot see it needs to know: sentences, metric and in UTC."""
    relative: bool = False
    """Whether time counts from nought: the axis then shows hours and no clock."""
    notes: tuple[str, ...] = field(default=())
    """What the chart does not show, or shows otherwise than expected."""

    @property
    def shows_anything(self) -> bool:
        return any(len(line.at_s) for panel in self.panels for line in panel.lines)


def digest_of(picture: Picture) -> str:
    """SHA-256 of everything in the picture, hexadecimal: equal pictures are drawn alike."""
    digest = sha256()

    def feed(value: object) -> None:
        if isinstance(value, np.ndarray):
            digest.update(np.ascontiguousarray(value, dtype=np.float64).tobytes())
        elif isinstance(value, tuple):
            digest.update(b"(")
            for part in value:
                feed(part)
            digest.update(b")")
        elif hasattr(value, "__dataclass_fields__"):
            for name in value.__dataclass_fields__:
                digest.update(name.encode() + b"=")
                feed(getattr(value, name))
        else:
            digest.update(repr(value).encode() + b";")

    feed(picture)
    return digest.hexdigest()
