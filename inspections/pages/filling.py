"""A sheet as a person fills it: the form of one unit with every measured value in words and in the reader's units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from fleet.models.members import Scale, Volume
from fleet.pages.measures import L_PER_GALLON, to_fahrenheit
from fleet.pages.reader import Reader
from inspections.measures import BY_NAME, Measure

UNITS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "l": (("L", "L"), ("gal", "gal (US)")),
    "c": (("degC", "°C"), ("degF", "°F")),
    "v": (("V", "V"),),
    "h": (("h", "h"),),
    "pct": (("%", "%"),),
}
"""Units a person may write a value in: as the API takes them, and as they are shown."""


def with_words(form: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    """The form's document (inspections.forms) with `label`, `units`, `choices` and limits as the reader reads them."""
    groups = [
        group | {"items": [item | {"measures": [_shown(one, reader) for one in item["measures"]]}
                           for item in group["items"]]}
        for group in form["groups"]
    ]  # fmt: skip
    return dict(form) | {"groups": groups}


def items_in(form: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Items of a form's document in walking order."""
    for group in form["groups"]:
        yield from group["items"]


def _shown(asked: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    measure = BY_NAME[asked["name"]]
    units = _units(measure, reader)
    low, high = (_limit(asked[side], units[0]["send"]) for side in ("low", "high"))
    return dict(asked) | {
        "label": measure.words.partition(" [")[0].rstrip("."),
        "units": units,
        "choices": list(measure.choices),
        "many": measure.many,
        "low": low,
        "high": high,
        "limits": _limits(low, high, units[0]["show"]),
    }


def _units(measure: Measure, reader: Reader) -> list[dict[str, str]]:
    """The reader's own unit first. A plain number carries the unit of its words, and is sent without one."""
    if measure.unit is None:
        return [{"send": "", "show": measure.words.partition("[")[2].partition("]")[0]}]
    units = list(UNITS[measure.unit])
    imperial = reader.scale == Scale.FAHRENHEIT if measure.unit == "c" else reader.volume == Volume.GALLONS
    if imperial and len(units) > 1:
        units.reverse()
    return [{"send": send, "show": show} for send, show in units]


def _limit(limit: float | None, unit: str) -> float | None:
    if limit is None:
        return None
    if unit == "degF":
        return round(to_fahrenheit(limit), 1)
    return round(limit / L_PER_GALLON, 1) if unit == "gal" else limit


def _limits(low: float | None, high: float | None, unit: str) -> str:
    """`12.2 to 13.2 V`, `at most 190 L`; nothing where nothing is asked. A low limit of zero says nothing."""
    if low and high is not None:
        return f"{low:g} to {high:g} {unit}"
    if high is not None:
        return f"at most {high:g} {unit}"
    return f"at least {low:g} {unit}" if low else ""
