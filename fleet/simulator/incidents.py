"""Fault events: what the units say of real failures, and small troubles that come and go by themselves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class FaultEvent:
    """One fault event of a unit; `data` is the event's payload."""

    unit: int
    at_s: int
    data: dict[str, Any]


# Invented words, no maker's codes: code, tier, component, meaning, what to do.
CODE_BOOK: tuple[tuple[str, str, str, str, str], ...] = (
    (
        "no-start-2",
        "stop",
        "engine",
        "Engine does not start.",
        "Do not leave. Have fuel, battery and starter looked at.",
    ),
    (
        "belt-broken-2",
        "stop",
        "belt",
        "Belt is broken.",
        "Do not leave. Switch off and isolate before the belt is replaced.",
    ),
    (
        "coolant-hot-2",
        "stop",
        "coolant",
        "Coolant too hot, shut down.",
        "Do not leave. Let it cool; open no cap while it is hot.",
    ),
    ("fuel-empty-2", "stop", "fuel", "Tank is empty.", "Refuel with the unit off, then have the fuel line bled."),
    (
        "battery-low-1",
        "attend",
        "battery",
        "Battery voltage is low.",
        "Charge and test the battery before a cold night.",
    ),
    ("air-sensor-1", "attend", "sensor", "Air sensor not plausible.", "Compare with a thermometer in the box."),
    ("coolant-low-1", "attend", "coolant", "Coolant level is low.", "Top up when cold and look for the leak."),
    ("oil-change-0", "watch", "engine", "Oil change is due.", "Plan the oil change."),
    ("filter-dirty-0", "watch", "air filter", "Air filter is dirty.", "Plan a new filter."),
)
BREAKDOWN_CODES: tuple[dict[str, Any], ...] = (
    {"code": "no-start-2"},
    {"code": "belt-broken-2"},
    {"code": "coolant-hot-2"},
    # The open pair for coolant temperature above normal, most severe (SAE J1939-73 appendix A).
    {"spn": 110, "fmi": 0},
)
TROUBLE_CODES: tuple[dict[str, Any], ...] = (
    {"code": "battery-low-1"},
    {"code": "air-sensor-1"},
    {"code": "coolant-low-1"},
    {"code": "oil-change-0"},
    {"code": "filter-dirty-0"},
    {"code": "not-in-any-book-1"},
    {"spn": 168, "fmi": 18},
)
TROUBLE_MEDIAN_H, TROUBLE_SD_LN = 3.0, 1.0


@dataclass(frozen=True, slots=True)
class Troubles:
    """How often small troubles come and how many of them clear and return a few times (flap). Assumptions."""

    per_unit_day: float = 0.1
    flapping_share: float = 0.2
    most_turns: int = 4


def failure_events(record: dict[str, Any], unit: int, *, rng: np.random.Generator) -> list[FaultEvent]:
    """Return what a unit says of a breakdown or an empty tank: raised soon, cleared when heat is back.

    A silent breakdown says nothing.
    """
    if record.get("silent"):
        return []
    what = {"code": "fuel-empty-2"}
    if record["kind"] == "breakdown":
        what = BREAKDOWN_CODES[rng.integers(len(BREAKDOWN_CODES))]
    raised = int(record["at_s"] + rng.integers(20, 240))
    cleared = max(int(record["back_at_s"] + rng.integers(20, 240)), raised + 60)
    return [
        FaultEvent(unit, raised, {"state": "raised", **what}),
        FaultEvent(unit, cleared, {"state": "cleared", **what}),
    ]


def draw_troubles(
    *, units: int, horizon_s: float, rng: np.random.Generator, plan: Troubles = Troubles()
) -> list[FaultEvent]:
    """Return the small troubles of a fleet: Poisson in number, lognormal in length, some of them flapping."""
    count = rng.poisson(plan.per_unit_day * units * horizon_s / DAY_S)
    events: list[FaultEvent] = []
    for _ in range(count):
        unit, what = int(rng.integers(units)), TROUBLE_CODES[rng.integers(len(TROUBLE_CODES))]
        at = float(rng.uniform(0.0, horizon_s))
        turns = int(rng.integers(2, plan.most_turns + 1)) if rng.random() < plan.flapping_share else 1
        for _ in range(turns):
            lasts_s = 3600.0 * TROUBLE_MEDIAN_H * np.exp(TROUBLE_SD_LN * rng.standard_normal()) / turns
            events.append(FaultEvent(unit, int(at), {"state": "raised", **what}))
            events.append(FaultEvent(unit, int(at + lasts_s) + 1, {"state": "cleared", **what}))
            at += lasts_s + float(rng.uniform(120.0, 1800.0))
    return sorted(events, key=lambda event: (event.at_s, event.unit))
