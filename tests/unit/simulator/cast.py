"""The cast of these tests: one ordinary request, and boxes and loads of a single world."""

from __future__ import annotations

from typing import Any

import numpy as np

from fleet.simulator.quantities import Box, Heater, Load, filled

BOX = {"k_w_m2k": 0.45, "area_m2": 147.0}
HEATER = {"output_kw": 8.0}
LOAD = {"mass_kg": 12_000.0, "temperature_c": 6.0, "high_c": 15.0}


def request(hours: int = 48, ambient: float = -20.0, **changes: dict[str, Any]) -> dict[str, Any]:
    """Return a request with a flat forecast; each keyword updates one part of it."""
    body: dict[str, Any] = {
        "box": dict(BOX),
        "heater": dict(HEATER),
        "fuel_l": 120.0,
        "load": dict(LOAD),
        "trip": {"set_point_c": 5.0, "ambient_c": [ambient] * (hours + 1)},
        "risk": {},
    }
    for part, change in changes.items():
        body[part] = {**body[part], **change} if isinstance(change, dict) else change
    return body


def box(**changes: float) -> Box:
    """Return one box."""
    return filled(Box, 1, **{k: np.array([v]) for k, v in {**BOX, **changes}.items()})


def heater(n: int = 1, **changes: float) -> Heater:
    """Return n equal heaters."""
    return filled(Heater, n, **{k: np.full(n, v) for k, v in {**HEATER, **changes}.items()})


def load(**changes: float) -> Load:
    """Return one load."""
    return filled(Load, 1, **{k: np.array([v]) for k, v in {"freezes_c": -1.0, **LOAD, **changes}.items()})
