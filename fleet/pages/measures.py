"""Values and sentences in the reader's own units. Everything stored is metric and in UTC; this is the way out.

Sentences of findings carry their numbers inside. They are ours, with few forms, so the numbers can be read out of them
and said again in other units; a form that is not known stays as it was, with its metric unit beside it.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

from fleet.models.members import Scale, Volume
from fleet.pages.reader import Reader

L_PER_GALLON = 3.785411784
"""US liquid gallon: 231 cubic inches, exactly (NIST Handbook 44, appendix C)."""
MINUS, NARROW = "−", "\u202f"
_SHOWN = {"degC": "°C", "ratio": "", "%": "%"}

_NUMBER = r"(?<![\w.-])[-−]?\d+(?:\.\d+)?"
_CELSIUS = re.compile(rf"(?P<first>{_NUMBER})(?P<joint> to | and |, )(?P<second>{_NUMBER}) °C|(?P<only>{_NUMBER}) °C")
_KELVIN = re.compile(rf"({_NUMBER}) K\b")
_LITRES = re.compile(rf"({_NUMBER}) L\b(/h)?")
_MOMENT = re.compile(r"(?:(\d{4})-(\d\d)-(\d\d) )?(\d\d):(\d\d) UTC")


def to_fahrenheit(value_c: float) -> float:
    return value_c * 9 / 5 + 32


def measure(value: float | None, unit: str, reader: Reader, digits: int | None = None) -> str:
    """A value with its unit in the reader's own: `−16.6 °F`, `25 gal`. Empty for None.

    *unit* is that of a finding or a field: `degC`, `K` (a difference), `L`, `L/h`, `h`, `kW` …
    """
    if value is None:
        return ""
    value, unit = _converted(value, unit, reader)
    places = digits if digits is not None else _places(unit, value)
    said = _SHOWN.get(unit, unit)
    return number(value, places) + (f"{NARROW}{said}" if said else "")


def number(value: float, digits: int) -> str:
    """A number with a true minus sign, and no minus before zero."""
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def _converted(value: float, unit: str, reader: Reader) -> tuple[float, str]:
    if reader.scale == Scale.FAHRENHEIT and unit == "degC":
        return to_fahrenheit(value), "°F"
    if reader.scale == Scale.FAHRENHEIT and unit == "K":
        return value * 9 / 5, "°F"
    if reader.volume == Volume.GALLONS and unit in ("L", "L/h"):
        return value / L_PER_GALLON, unit.replace("L", "gal")
    return value, unit


def _places(unit: str, value: float) -> int:
    if unit in ("degC", "°F", "K", "kW", "V"):
        return 1
    if unit in ("", "ratio"):
        return 0 if value == round(value) else 2
    return 0 if abs(value) >= 20 or value == round(value) else 1


def sentence(text: str, reader: Reader, near: datetime | None = None) -> str:
    """One of our sentences with its temperatures, volumes and UTC times said in the reader's units and zone.

    A time of day without a date is taken as the one nearest to *near* (default: now).
    """
    text = in_units(text, scale=reader.scale, volume=reader.volume)
    return _MOMENT.sub(lambda found: _moment(found, reader, near or reader.now), text)


def in_units(text: str, *, scale: str, volume: str) -> str:
    """The sentence with its temperatures and volumes in this scale and measure; its times stay as they are."""
    if scale == Scale.FAHRENHEIT:
        text = _CELSIUS.sub(_fahrenheit, text)
        text = _KELVIN.sub(lambda found: f"{_number(_read(found[1]) * 9 / 5, found[1])} °F", text)
    if volume == Volume.GALLONS:
        text = _LITRES.sub(
            lambda found: f"{_number(_read(found[1]) / L_PER_GALLON, found[1], more=1)} gal{found[2] or ''}", text
        )
    return text


def _fahrenheit(found: re.Match[str]) -> str:
    def said(text: str) -> str:
        return _number(to_fahrenheit(_read(text)), text)

    if found["only"] is not None:
        return f"{said(found['only'])} °F"
    return f"{said(found['first'])}{found['joint']}{said(found['second'])} °F"


def _read(text: str) -> float:
    return float(text.replace(MINUS, "-"))


def _number(value: float, like: str, *, more: int = 0) -> str:
    """*value* with as many places as *like* has, and no trailing zeros."""
    places = len(like.partition(".")[2]) + more
    text = number(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _moment(found: re.Match[str], reader: Reader, near: datetime) -> str:
    year, month, day, hour, minute = found.groups()
    if year is None:
        at = near.astimezone(UTC).replace(hour=int(hour), minute=int(minute), second=0, microsecond=0)
        day_s = timedelta(days=1)
        at = min((at - day_s, at, at + day_s), key=lambda moment: abs(moment - near))
        return f"{reader.local(at):%H:%M}"
    at = datetime(int(year), int(month), int(day), int(hour), int(minute), tzinfo=UTC)
    return f"{reader.local(at):%a %d %b %H:%M}"
