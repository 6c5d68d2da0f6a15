"""Values a person may measure during an inspection: one table of names, units and physical bounds, and the unit
facts other parts of the service read.

A fact carries the moment the person measured as its time, so that a report posted late never replaces a newer value.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import fmean
from typing import Any

FUEL_GRADES = (*(f"en590-{letter}" for letter in "abcdef01234"), "summer", "winter", "unknown")
"""Climate classes of EN 590 (temperate a to f, arctic 0 to 4), or the word on the pump. `unknown` is an answer too."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One measured value: the dimension of its unit (None: a plain number) and what is physically possible."""

    name: str
    words: str
    unit: str | None = None
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()
    many: bool = False


MEASURES: tuple[Measure, ...] = (
    Measure("fuel_dip_l", "Fuel by dipstick [L].", "l", 0.0, 2000.0),
    Measure("fuel_grade", "Climate class of the fuel in the tank.", choices=FUEL_GRADES),
    Measure("coolant_glycol_pct", "Share of glycol by refractometer [% vol].", "pct", 0.0, 100.0),
    Measure("battery_rest_v", "Battery voltage at rest [V].", "v", 0.0, 40.0),
    Measure("battery_rest_h", "Hours the battery had rested [h].", "h", 0.0, 2000.0),
    Measure("battery_temp_c", "Temperature of the battery [degC].", "c", -60.0, 80.0),
    Measure("belt_tension_n", "Belt tension [N].", None, 0.0, 5000.0),
    Measure("load_temperatures_c", "Temperatures of the load at several places [degC].", "c", -60.0, 80.0, many=True),
    Measure("engine_hours_h", "Engine hours on the counter [h].", "h", 0.0, 500_000.0),
)
BY_NAME: Mapping[str, Measure] = {measure.name: measure for measure in MEASURES}
PLAIN = ("fuel_dip_l", "fuel_grade", "coolant_glycol_pct", "belt_tension_n")
FACT_NAMES: tuple[str, ...] = (
    *(f"inspections.{name}" for name in PLAIN),
    "inspections.battery_rest_v",
    "inspections.load_temperature_c",
    "inspections.load_temperatures_c",
)


def facts_from(values_of_items: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Unit facts from the measured values of one inspection. A rest voltage without its rest time says nothing and
    gives no fact."""
    values: dict[str, Any] = {}
    for item_values in values_of_items:
        values |= item_values
    facts = {f"inspections.{name}": values[name] for name in PLAIN if name in values}
    if "battery_rest_v" in values and "battery_rest_h" in values:
        facts["inspections.battery_rest_v"] = {
            "volts": values["battery_rest_v"],
            "rest_h": values["battery_rest_h"],
            "temp_c": values.get("battery_temp_c"),
        }
    if temps := values.get("load_temperatures_c"):
        facts["inspections.load_temperature_c"] = round(fmean(temps), 3)
        facts["inspections.load_temperatures_c"] = list(temps)
    return facts
