"""The body of `POST /api/v1/events/` in the OpenAPI document. The parser itself reads no schema, only the tables."""

from __future__ import annotations

from typing import Any

from fleet.ingest.fields import READING_FIELDS, Kind

LONGEST_WORD = 255


def _named(component: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{component}"}


def _value(kind: Kind, low: float, high: float) -> dict[str, Any]:
    if kind is Kind.FLAG:
        return {"type": ["boolean", "null"]}
    number = {"type": ["number", "null"], "minimum": low, "maximum": high}
    return {"oneOf": [number, _named("ReadingQuantity")], "description": f"In {kind}, or a value with its unit."}


READING_DATA: dict[str, Any] = {
    "type": "object",
    "description": "At least one value. `fuel_pct` may stand for `fuel_l` where the unit's model knows its tank.",
    "additionalProperties": False,
    "minProperties": 1,
    "properties": {field.name: _value(field.kind, field.low, field.high) for field in READING_FIELDS}
    | {
        "fuel_pct": {"type": ["number", "null"], "minimum": 0, "maximum": 100},
        "latitude": {"type": ["number", "null"], "minimum": -90, "maximum": 90},
        "longitude": {"type": ["number", "null"], "minimum": -180, "maximum": 180},
    },
}
QUANTITY: dict[str, Any] = {
    "type": "object",
    "description": "A value with its unit, such as 30 gal; converted when it arrives.",
    "required": ["value", "unit"],
    "additionalProperties": False,
    "properties": {"value": {"type": "number"}, "unit": {"type": "string"}},
}
OTHER_DATA: dict[str, Any] = {
    "type": "object",
    "description": "For `unit.fault.v1`: `state` (`raised`, `cleared`) and either `code` or `spn` with `fmi`.",
    "additionalProperties": True,
}
_WORD = {"type": "string", "minLength": 1, "maxLength": LONGEST_WORD}
EVENT: dict[str, Any] = {
    "type": "object",
    "description": "A CloudEvents 1.0 event in JSON.",
    "required": ["specversion", "id", "source", "type", "subject", "time", "data"],
    "properties": {
        "specversion": {"type": "string", "const": "1.0"},
        "id": _WORD,
        "source": _WORD,
        "type": _WORD | {"description": "`unit.reading.v1`, `unit.fault.v1`."},
        "subject": _WORD | {"description": "Number of the unit."},
        "time": {"type": "string", "format": "date-time"},
        "data": {"anyOf": [_named("ReadingData"), _named("OtherEventData")]},
    },
}
BATCH: dict[str, Any] = {
    "type": "array",
    "maxItems": 1000,
    "description": "What is wrong with one event costs that event only: it is answered and kept in quarantine.",
    "items": _named("CloudEvent"),
}
COMPONENTS = {
    "CloudEvent": EVENT,
    "ReadingData": READING_DATA,
    "ReadingQuantity": QUANTITY,
    "OtherEventData": OTHER_DATA,
}
"""Put into the document by the settings, so that generated clients have types of these names."""
EXAMPLE: list[dict[str, Any]] = [
    {
        "specversion": "1.0",
        "id": "a1",
        "source": "gateway/yard-3",
        "type": "unit.reading.v1",
        "subject": "HB-104",
        "time": "2027-01-12T05:40:00Z",
        "data": {"return_air_c": 6.1, "discharge_air_c": 24.0, "ambient_c": -18.5, "fuel_l": 88.0, "battery_v": 12.7},
    },
    {
        "specversion": "1.0",
        "id": "a2",
        "source": "gateway/yard-3",
        "type": "unit.fault.v1",
        "subject": "HB-104",
        "time": "2027-01-12T05:41:00Z",
        "data": {"state": "raised", "code": "coolant-hot-2"},
    },
]
