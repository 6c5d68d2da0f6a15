"""Units that a caller may use instead of ours, and their conversion by Pint: once, at the edge.

The list is closed. A name that is not in it is refused, even where Pint would understand it, because the
unit library knows thousands of names and some of them read like ours and mean something else (`C` is
coulomb). Temperatures and temperature differences are two dimensions: 44 degF is a temperature, 44
delta_degF a difference. `gal` is the US liquid gallon (231 cubic inches), `imp_gal` the imperial gallon
(4.546 09 L), `Btu` the International Table one.
"""

from functools import cache, lru_cache
from typing import Any

UNITS: dict[str, dict[str, str]] = {
    # our unit: {name a caller may use: Pint expression}. The first name is ours.
    "c": {"degC": "degC", "degF": "degF", "K": "kelvin"},
    "k": {"K": "delta_degC", "delta_degC": "delta_degC", "delta_degF": "delta_degF"},
    "kw": {"kW": "kilowatt", "W": "watt", "Btu/h": "Btu_it / hour"},
    "w": {"W": "watt", "kW": "kilowatt", "Btu/h": "Btu_it / hour"},
    "kwh": {"kWh": "kilowatt_hour", "MJ": "megajoule", "Btu": "Btu_it"},
    "l": {"L": "liter", "m3": "meter ** 3", "gal": "gallon", "imp_gal": "imperial_gallon"},
    "l_h": {"L/h": "liter / hour", "gal/h": "gallon / hour", "imp_gal/h": "imperial_gallon / hour"},
    "v": {"V": "volt", "mV": "millivolt"},
    "a": {"A": "ampere", "mA": "milliampere"},
    "ah": {"Ah": "ampere * hour"},
    "h": {"h": "hour", "min": "minute", "s": "second", "d": "day"},
    "min": {"min": "minute", "h": "hour", "s": "second"},
    "s": {"s": "second", "min": "minute", "h": "hour"},
    "kg": {"kg": "kilogram", "g": "gram", "t": "metric_ton", "lb": "pound"},
    "pct": {"%": "percent"},
    "m": {"m": "meter", "cm": "centimeter", "mm": "millimeter", "ft": "foot", "in": "inch"},
    "m2": {"m2": "meter ** 2", "ft2": "foot ** 2"},
    "m3": {"m3": "meter ** 3", "L": "liter", "ft3": "foot ** 3"},
    "m_s": {"m/s": "meter / second", "km/h": "kilometer / hour", "mph": "mile / hour", "kn": "knot"},
    "w_m2k": {
        "W/(m2.K)": "watt / meter ** 2 / delta_degC",
        "Btu/(h.ft2.degF)": "Btu_it / hour / foot ** 2 / delta_degF",
    },
    "w_k": {"W/K": "watt / delta_degC", "Btu/(h.degF)": "Btu_it / hour / delta_degF"},
    "w_mk": {"W/(m.K)": "watt / meter / delta_degC", "Btu/(h.ft.degF)": "Btu_it / hour / foot / delta_degF"},
    "kj_kgk": {
        "kJ/(kg.K)": "kilojoule / kilogram / delta_degC",
        "Btu/(lb.degF)": "Btu_it / pound / delta_degF",
    },
    "kj_kg": {"kJ/kg": "kilojoule / kilogram", "Btu/lb": "Btu_it / pound"},
    "kg_m3": {"kg/m3": "kilogram / meter ** 3", "lb/ft3": "pound / foot ** 3"},
}


class UnknownUnit(ValueError):
    """The unit is not in the closed list of its dimension."""


def unit_names(unit: str) -> tuple[str, ...]:
    """The names a caller may use for a field in `unit`, ours first; KeyError for a dimension we do not
    have."""
    return tuple(UNITS[unit])


def convert(value: float, name: str, *, unit: str) -> float:
    """`value` in the unit called `name`, expressed in our `unit`.

    The result is rounded to 12 significant digits: conversion noise (44 degF = 6.666666666666686 degC) would
    otherwise push a value that stands exactly on a limit beyond it. UnknownUnit for names outside the list.
    """
    names = UNITS[unit]
    if name not in names:
        raise UnknownUnit(f"{name!r} is not one of: {', '.join(names)}.")
    own = next(iter(names.values()))
    if names[name] == own:
        return float(value)
    factor, offset = _line(names[name], own)
    converted = float(value) * factor + offset
    if unit == "c":
        # On a scale with an offset the noise is not small against a value near zero (32 degF): cut it
        # absolutely.
        return round(converted, 9)
    return float(f"{converted:.12g}")


@cache
def _line(foreign: str, own: str) -> tuple[float, float]:
    """Factor and offset from one unit to the other, by Pint: every unit of the list is a line on ours, and asking for
    each value costs fifty times as much."""
    at_zero, at_one = (_registry().Quantity(value, foreign).to(own).magnitude for value in (0.0, 1.0))
    return at_one - at_zero, at_zero


@lru_cache(maxsize=1)
def _registry() -> Any:
    """Pint's registry, built when the first foreign unit arrives (it takes about half a second)."""
    import pint

    return pint.UnitRegistry()
