"""What a chart is drawn on: its size, its colours, and the reader's units and zone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from enum import StrEnum

from fleet.charts.picture import Array, Role
from fleet.pages.measures import L_PER_GALLON


class Look(StrEnum):
    LIGHT = "light"
    DARK = "dark"


class Size(StrEnum):
    """`wide` for a page, `narrow` for a phone of 360 pixels, `mail` for a letter: its first two panels only, `print`
    for paper."""

    WIDE = "wide"
    NARROW = "narrow"
    MAIL = "mail"
    PRINT = "print"


@dataclass(frozen=True, slots=True)
class Ink:
    """Colours of one look. Told apart with the usual colour blindnesses (blue, red-brown, violet, grey-green), and each
    at least 3 : 1 on its paper; every line also has a stroke of its own."""

    paper: str
    ink: str
    soft: str
    line: str
    harm: str
    of: dict[Role, str]


BLUE, BROWN, VIOLET, GREY, GREEN = ("edge", "air", "core", "ambient", "fuel")
_HUES = {
    Role.EDGE: BLUE, Role.CORE: VIOLET, Role.AIR: BROWN, Role.DISCHARGE: GREY, Role.AMBIENT: GREY,
    Role.SET_POINT: GREEN, Role.CARGO: BLUE, Role.NEEDED: BLUE, Role.AVAILABLE: GREY, Role.GIVEN: BROWN,
    Role.FUEL: GREEN, Role.TIME_LEFT: VIOLET, Role.DUTY: BROWN,
}  # fmt: skip


def _ink(paper: str, ink: str, soft: str, line: str, harm: str, hues: dict[str, str]) -> Ink:
    return Ink(paper, ink, soft, line, harm, {role: hues[hue] for role, hue in _HUES.items()})


INKS = {
    Look.LIGHT: _ink(
        "#fffdf9", "#23211d", "#5e584e", "#ddd5c6", "#93203f",
        {BLUE: "#0b5fa5", BROWN: "#b0480d", VIOLET: "#7b3fa0", GREY: "#5d6f76", GREEN: "#2b6e3f"},
    ),
    Look.DARK: _ink(
        "#201e1b", "#ece6da", "#aba291", "#45403a", "#f3a3b3",
        {BLUE: "#74b6f2", BROWN: "#f0a46b", VIOLET: "#cda1ea", GREY: "#a9bac0", GREEN: "#8fce9e"},
    ),
}  # fmt: skip
STROKES: dict[Role, tuple[float, str | tuple[int, tuple[float, ...]]]] = {
    Role.EDGE: (2.4, "-"),
    Role.CORE: (1.6, (0, (6, 2))),
    Role.AIR: (1.3, "-"),
    Role.DISCHARGE: (1.1, (0, (4, 1.5, 1, 1.5))),
    Role.AMBIENT: (1.4, (0, (1.2, 1.4))),
    Role.SET_POINT: (1.4, (0, (8, 2, 1.5, 2))),
    Role.CARGO: (1.0, "-"),
    Role.NEEDED: (2.0, "-"),
    Role.AVAILABLE: (1.4, (0, (6, 2))),
    Role.GIVEN: (1.2, "-"),
    Role.FUEL: (2.0, "-"),
    Role.TIME_LEFT: (2.0, "-"),
    Role.DUTY: (1.4, "-"),
}
"""Width in points and dashes of each line."""
POINTS: dict[Role, str] = {
    Role.AIR: "o", Role.DISCHARGE: "^", Role.AMBIENT: "s", Role.CARGO: "D", Role.FUEL: "o", Role.SET_POINT: "_",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Paper:
    """One reader's sheet."""

    size: Size = Size.WIDE
    look: Look = Look.LIGHT
    fahrenheit: bool = False
    gallons: bool = False
    zone: tzinfo = UTC

    @property
    def ink(self) -> Ink:
        return INKS[self.look]

    @property
    def ground(self) -> str:
        """The colour under everything: real paper is white."""
        return "#ffffff" if self.size is Size.PRINT else self.ink.paper

    @property
    def measures(self) -> str:
        """Units and zone in one word: part of an image's tag."""
        return f"{'f' if self.fahrenheit else 'c'}{'g' if self.gallons else 'l'}-{self.zone}"

    def local(self, at_s: float) -> datetime:
        return datetime.fromtimestamp(at_s, tz=UTC).astimezone(self.zone)

    def shown(self, values: Array | float, unit: str) -> tuple[Array | float, str]:
        """*values* in the reader's unit, and its sign."""
        if unit == "degC":
            return (values * 9 / 5 + 32, "°F") if self.fahrenheit else (values, "°C")
        if unit == "L" and self.gallons:
            return values / L_PER_GALLON, "gal"
        return values, unit
