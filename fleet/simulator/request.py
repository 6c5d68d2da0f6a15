"""Reads a calculator request into a `Case`. What is missing, unknown, no number or out of range raises."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from fleet.simulator.errors import SimulatorError
from fleet.simulator.quantities import (
    RANGES,
    REQUIRED,
    Box,
    Case,
    Floats,
    Heater,
    Load,
    Part,
    Risk,
    Stop,
    Trip,
)

TOP_KEYS = {"box", "heater", "fuel_l", "reserve_l", "load", "trip", "risk"}
TRIP_KEYS = {"set_point_c", "ambient_c", "stops", "box_start_c"}
STOP_KEYS = {"at_h", "duration_h", "open_share", "refuel", "heater_off"}


def parse_case(request: Mapping[str, Any]) -> Case:
    """Return the case of a request in the calculator's format.

    Raises
    ------
    SimulatorError
        With the path of the first field that is missing, unknown, not finite or outside its range.
    """
    refuse_unknown(request, TOP_KEYS, "")
    heater = read_part(Heater, request.get("heater", {}), "heater")
    load = read_part(Load, request.get("load", {}), "load")
    tank = float(heater.tank_l[0])
    return Case(
        box=read_part(Box, request.get("box", {}), "box"),
        heater=heater,
        load=load,
        risk=read_part(Risk, request.get("risk", {}), "risk"),
        # An unstated gauge is a full tank, as the calculator documents it.
        fuel_l=number(request.get("fuel_l", tank), "fuel_l", 0.0, tank),
        trip=read_trip(request.get("trip", {})),
    )


def read_part(kind: type[Part], raw: Mapping[str, Any], path: str) -> Part:
    """Return one part (arrays of shape (1,)) from its JSON object, defaults filled in."""
    ranges = RANGES[kind]
    refuse_unknown(raw, set(ranges), path + ".")
    values: dict[str, float] = {}
    for name, allowed in ranges.items():
        where = f"{path}.{name}"
        value = raw.get(name, allowed.default)
        if value is REQUIRED:
            raise SimulatorError(f"{where}: required")
        if value is None and allowed.null is not None:
            value = allowed.null
        # A default that is a name points to another field (damage_c follows freezes_c).
        if isinstance(value, str) and value == allowed.default:
            value = values[value]
        values[name] = number(value, where, allowed.low, allowed.high)
    return kind(**{name: np.array([value]) for name, value in values.items()})


def read_trip(raw: Mapping[str, Any]) -> Trip:
    """Return the trip of a request."""
    refuse_unknown(raw, TRIP_KEYS, "trip.")
    start = raw.get("box_start_c")
    ambient = read_ambient(raw.get("ambient_c"))
    return Trip(
        set_point_c=number(raw.get("set_point_c"), "trip.set_point_c", -40.0, 60.0),
        ambient_c=ambient,
        stops=tuple(read_stop(stop, i, len(ambient) - 1) for i, stop in enumerate(raw.get("stops", ()))),
        box_start_c=None if start is None else number(start, "trip.box_start_c", -90.0, 60.0),
    )


def read_ambient(raw: object) -> Floats:
    """Return the hourly ambient [degC], at least two values."""
    if not isinstance(raw, list | tuple) or len(raw) < 2:
        raise SimulatorError("trip.ambient_c: at least two hourly values are required")
    return np.array([number(v, f"trip.ambient_c[{i}]", -90.0, 60.0) for i, v in enumerate(raw)])


def read_stop(raw: Mapping[str, Any], index: int, hours: int) -> Stop:
    """Return one stop; it must begin within the trip."""
    path = f"trip.stops[{index}]"
    refuse_unknown(raw, STOP_KEYS, path + ".")
    return Stop(
        at_h=number(raw.get("at_h"), f"{path}.at_h", 0.0, float(hours)),
        duration_h=number(raw.get("duration_h"), f"{path}.duration_h", 0.0, 200.0),
        open_share=number(raw.get("open_share", 0.0), f"{path}.open_share", 0.0, 1.0),
        refuel=flag(raw.get("refuel", False), f"{path}.refuel"),
        heater_off=flag(raw.get("heater_off", False), f"{path}.heater_off"),
    )


def number(value: object, where: str, low: float, high: float) -> float:
    """Return the value as a float inside [low, high]; infinity only where the range allows it."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise SimulatorError(f"{where}: a number is required, got {value!r}")
    if math.isnan(value) or not low <= value <= high:
        raise SimulatorError(f"{where}: {value} is outside {low:g}..{high:g}")
    return float(value)


def flag(value: object, where: str) -> bool:
    """Return a JSON true or false, nothing else."""
    if not isinstance(value, bool):
        raise SimulatorError(f"{where}: true or false is required, got {value!r}")
    return value


def refuse_unknown(raw: object, known: set[str], path: str) -> None:
    """Raise on anything that is not an object, and on a key the format does not have."""
    if not isinstance(raw, Mapping):
        raise SimulatorError(f"{path}: an object is required")
    for key in raw:
        if key not in known:
            raise SimulatorError(f"{path}{key}: unknown field")
