"""What the calculator's page asks for: fields with their ranges in metric units, read and shown in the reader's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any
from urllib.parse import urlencode

from fleet.models.members import Scale, Volume
from fleet.pages.measures import L_PER_GALLON, to_fahrenheit
from fleet.pages.reader import Reader

METRIC = "c-l"


@dataclass(frozen=True, slots=True)
class Field:
    """One number of the form: limits and the value it starts with, metric."""

    name: str
    label: str
    unit: str
    low: float
    high: float
    step: float
    start: float


FIELDS = (
    Field("ambient", "Outside, all the way", "degC", -45, 15, 1, -30),
    Field("hours", "Hours on the way", "h", 6, 96, 1, 24),
    Field("set_point", "Set point", "degC", 0, 25, 0.5, 7),
    Field("mass", "Load", "kg", 0, 26000, 250, 18000),
    Field("temperature", "Load when it is loaded", "degC", -5, 25, 0.5, 8),
    Field("fuel", "Fuel at the start", "L", 0, 400, 5, 150),
    Field("k", "K value of the box", "W/m²K", 0.3, 1.2, 0.01, 0.42),
    Field("area", "Surface of the box", "m²", 30, 180, 1, 145),
    Field("output", "Heat output", "kW", 1, 14, 0.5, 8),
)
PRESETS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("Potatoes in a long box at −30 °C", {}),
    ("Flowers in a short box at −18 °C",
     {"goods": "cut-flowers", "k": 0.55, "area": 92, "output": 4, "mass": 4000, "ambient": -18, "fuel": 60,
      "temperature": 6, "set_point": 5}),
    ("A small load of medicine, 48 hours",
     {"goods": "insulin", "mass": 1200, "temperature": 5, "set_point": 5, "hours": 48, "ambient": -22}),
)  # fmt: skip
START_GOODS = "potato"


def preset_links() -> list[tuple[str, str]]:
    """Each preset with its query."""
    return [(words, urlencode({"u": METRIC, **values})) for words, values in PRESETS]


def units_of(reader: Reader) -> str:
    """The units that a form of this reader is written in; they travel with it, so that a link can be passed on."""
    scale = "f" if reader.scale == Scale.FAHRENHEIT else "c"
    return f"{scale}-{'gal' if reader.volume == Volume.GALLONS else 'l'}"


def shown(value: float, unit: str, units: str) -> float:
    """A metric value in the units of a form."""
    if unit == "degC" and units.startswith("f"):
        return to_fahrenheit(value)
    return value / L_PER_GALLON if unit == "L" and units.endswith("gal") else value


def sign(unit: str, units: str) -> str:
    if unit == "degC":
        return "°F" if units.startswith("f") else "°C"
    return "gal" if unit == "L" and units.endswith("gal") else unit


def read(query: Mapping[str, str]) -> tuple[dict[str, float], dict[str, str]]:
    """Metric values by name, and what is wrong with those that are none or out of range, in words."""
    units = query.get("u", METRIC)
    values: dict[str, float] = {}
    wrong: dict[str, str] = {}
    for field in FIELDS:
        values[field.name] = field.start
        text = query.get(field.name, "").strip().replace(",", ".").replace("−", "-")
        if not text:
            continue
        try:
            value = _metric(float(text), field.unit, units)
        except ValueError:
            wrong[field.name] = "This is not a number."
            continue
        if not isfinite(value) or not field.low - 0.06 <= value <= field.high + 0.06:
            low, high = (shown(side, field.unit, units) for side in (field.low, field.high))
            wrong[field.name] = f"From {low:g} to {high:g} {sign(field.unit, units)}, please."
            continue
        values[field.name] = min(max(value, field.low), field.high)
    return values, wrong


def _metric(value: float, unit: str, units: str) -> float:
    if unit == "degC" and units.startswith("f"):
        return (value - 32) * 5 / 9
    return value * L_PER_GALLON if unit == "L" and units.endswith("gal") else value


def body_of(values: Mapping[str, float], goods: str) -> dict[str, Any]:
    """The calculator's request. The tank is as large as what is in it: only the fuel at hand counts here."""
    return {
        "box": {"k_w_m2k": values["k"], "area_m2": values["area"]},
        "heater": {"output_kw": values["output"], "tank_l": max(values["fuel"], 20.0)},
        "fuel_l": values["fuel"],
        "load": {"commodity": goods, "mass_kg": values["mass"], "temperature_c": values["temperature"]},
        "trip": {"ambient_c": [values["ambient"]] * (round(values["hours"]) + 1), "set_point_c": values["set_point"]},
    }
