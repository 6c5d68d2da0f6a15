"""Reads the invented scenario of fixtures/demo and turns its minutes into instants around the moment it is played."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings

from fleet.clock import text_of

FOLDER = Path(settings.BASE_DIR) / "fixtures" / "demo"
GATEWAY = "gateway/vinterby-yard"
DAYS_AGO = {"built_days_ago": "built_on", "k_tested_days_ago": "k_tested_on", "serviced_days_ago": "serviced_on"}
PARKED = {
    "ambient_c": -10.0,
    "battery_v": 12.8,
    "coolant_c": 76.0,
    "heater_running": True,
    "unit_on": True,
    "door_open": False,
}
"""What every unit of the yard reports unless the scenario says otherwise."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """The files as they are, and the moment that is minute 0."""

    fleet: Mapping[str, Any]
    places: Mapping[str, Mapping[str, Any]]
    unit_models: list[dict[str, Any]]
    code_books: Mapping[str, list[dict[str, str]]]
    units: Mapping[str, Mapping[str, Any]]
    trips: Mapping[str, Mapping[str, Any]]
    starts_at: datetime

    def at(self, minutes: float) -> datetime:
        return self.starts_at + timedelta(minutes=minutes)

    def text_at(self, minutes: float) -> str:
        return text_of(self.at(minutes))

    def unit_body(self, number: str) -> dict[str, Any]:
        """The request that makes a unit; days ago become dates."""
        unit = self.units[number]
        body = {name: unit[name] for name in ("number", "model", "k_test_w_m2k", "serviced_at_h") if name in unit}
        for name, field in DAYS_AGO.items():
            if name in unit:
                body[field] = f"{(self.starts_at - timedelta(days=unit[name])).date():%Y-%m-%d}"
        return body

    def trip_body(self, reference: str) -> dict[str, Any]:
        """The request that makes a trip; minutes become instants, places get their names."""
        trip = self.trips[reference]
        stops = [
            {"place": self.places[stop["place"]]["name"]}
            | {f"{name}_at": self.text_at(stop[f"{name}_min"]) for name in ("arrive", "leave") if f"{name}_min" in stop}
            for stop in trip["stops"]
        ]
        return {
            "reference": reference,
            "planned_unit": trip["unit"],
            "loading_at": self.text_at(trip["loading_min"]),
            "depart_at": self.text_at(trip["depart_min"]),
            "load": trip["load"],
            "stops": stops,
            "ambient": [{"at": self.text_at(minute), "temp_c": temp_c} for minute, temp_c in trip["ambient"]],
            "ambient_issued_at": self.text_at(-60),
            "help": {"median_h": 2.0, "p90_h": 4.0},
        }

    def reading(self, number: str, at: datetime, **changes: Any) -> dict[str, Any]:
        """A reading event of a unit: its own values with *changes*."""
        values = PARKED | self.units[number]["reading"] | self._position() | changes
        return self._event(number, at, "unit.reading.v1", "reading", values)

    def fault(self, number: str, at: datetime, code: str, state: str) -> dict[str, Any]:
        """A fault event of a unit."""
        return self._event(number, at, "unit.fault.v1", f"{code}-{state}", {"state": state, "code": code})

    def _position(self) -> dict[str, float]:
        yard = self.places["vinterby"]
        return {"latitude": yard["latitude"], "longitude": yard["longitude"]}

    def _event(self, number: str, at: datetime, type_: str, word: str, data: dict[str, Any]) -> dict[str, Any]:
        return {
            "specversion": "1.0",
            "id": f"{number}-{word}-{at.timestamp():.3f}",
            "source": GATEWAY,
            "type": type_,
            "subject": number,
            "time": text_of(at),
            "data": data,
        }


def load_scenario(*, starts_at: datetime) -> Scenario:
    """The scenario with minute 0 at *starts_at*."""

    def read(name: str) -> Any:
        return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))

    return Scenario(
        fleet=read("fleet"),
        places={place["key"]: place for place in read("places")},
        unit_models=read("unit-models"),
        code_books=read("code-books"),
        units={unit["number"]: unit for unit in read("units")},
        trips={trip["reference"]: trip for trip in read("trips")},
        starts_at=starts_at,
    )
