"""The fields of a reading: one table for the parser, the rows, the schema and the docs."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    TEMPERATURE = "degC"
    VOLUME = "L"
    VOLTAGE = "V"
    HOURS = "h"
    SPEED = "km/h"
    FLAG = "flag"


@dataclass(frozen=True, slots=True)
class ReadingField:
    """One measured value: its name on the wire and in the table, and the physics it must obey."""

    name: str
    kind: Kind
    low: float = 0.0
    high: float = 0.0


READING_FIELDS: tuple[ReadingField, ...] = (
    ReadingField("return_air_c", Kind.TEMPERATURE, -90, 120),
    ReadingField("discharge_air_c", Kind.TEMPERATURE, -90, 200),
    ReadingField("set_point_c", Kind.TEMPERATURE, -40, 60),
    ReadingField("ambient_c", Kind.TEMPERATURE, -90, 80),
    ReadingField("cargo_c", Kind.TEMPERATURE, -90, 120),
    ReadingField("coolant_c", Kind.TEMPERATURE, -90, 200),
    ReadingField("fuel_l", Kind.VOLUME, 0, 5000),
    ReadingField("battery_v", Kind.VOLTAGE, 0, 60),
    ReadingField("engine_hours_h", Kind.HOURS, 0, 500_000),
    ReadingField("speed_km_h", Kind.SPEED, 0, 300),
    ReadingField("heater_running", Kind.FLAG),
    ReadingField("unit_on", Kind.FLAG),
    ReadingField("door_open", Kind.FLAG),
)
FIELD_NAMES: tuple[str, ...] = tuple(field.name for field in READING_FIELDS)
