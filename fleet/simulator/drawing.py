"""Draws boxes, heaters, loads and trips from stated distributions, as requests in the calculator's format.

All distributions are assumptions of this file, wide enough to reach from safe trips to hopeless ones:
calibration needs both. `docs/simulator.md` lists them.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fleet.simulator.errors import SimulatorError

# Length of the body [m] -> mean area [m2], volume [m3], largest load [kg], rated heat [kW], burn [L/h],
# tank [L].
BODIES: tuple[tuple[float, float, float, float, float, float], ...] = (
    (62.0, 32.0, 6_000.0, 4.5, 0.62, 60.0),
    (95.0, 52.0, 11_000.0, 6.0, 0.83, 110.0),
    (147.0, 85.0, 22_000.0, 8.0, 1.10, 190.0),
    (147.0, 85.0, 22_000.0, 10.0, 1.38, 190.0),
)


def draw_cases(seed: int, n: int) -> list[dict[str, Any]]:
    """Return n requests in the calculator's format; equal seeds give equal lists.

    Raises
    ------
    SimulatorError
        When no case is asked for.
    """
    if n < 1:
        raise SimulatorError(f"cases: at least one is required, got {n}")
    rng = np.random.default_rng(seed)
    return [draw_case(rng) for _ in range(n)]


def draw_case(rng: np.random.Generator) -> dict[str, Any]:
    """Return one request."""
    body = BODIES[rng.integers(len(BODIES))]
    heater = draw_heater(body, rng)
    load = draw_load(body[2], rng)
    hours = int(rng.integers(10, 73))
    set_point = round(load["temperature_c"] + float(rng.normal(0.0, 1.0)), 1)
    trip = {
        "set_point_c": max(set_point, load["damage_c"] + 2.0),
        "ambient_c": draw_ambient(hours, rng),
        "stops": draw_stops(hours, rng),
        "box_start_c": None if rng.random() < 0.8 else round(float(rng.uniform(-25.0, 10.0)), 1),
    }
    # Two drivers in three leave with more than half a tank; the others take what is in it.
    share = rng.uniform(0.5, 1.0) if rng.random() < 0.67 else rng.uniform(0.08, 0.5)
    return {
        "box": draw_box(body, rng),
        "heater": heater,
        "fuel_l": round(float(share) * heater["tank_l"], 1),
        "load": load,
        "trip": trip,
        "risk": draw_risk(rng),
    }


def draw_box(body: tuple[float, ...], rng: np.random.Generator) -> dict[str, Any]:
    """Return a box: K around the border of the two insulation classes, up to twelve years old."""
    return {
        "k_w_m2k": round(float(np.clip(0.45 * np.exp(0.2 * rng.standard_normal()), 0.32, 0.75)), 3),
        "area_m2": body[0],
        "volume_m3": body[1],
        "age_y": round(float(rng.uniform(0.0, 12.0)), 1),
        "contact_share": round(float(rng.uniform(0.04, 0.12)), 3),
        "lining_kj_m2k": round(float(rng.uniform(6.0, 12.0)), 1),
        "curtain": 0.8 if rng.random() < 0.3 else 0.0,
    }


def draw_heater(body: tuple[float, ...], rng: np.random.Generator) -> dict[str, Any]:
    """Return a heater of the body's class; one in six keeps its engine running at a low fire."""
    low_fire = rng.random() < 1 / 6
    return {
        "output_kw": round(float(body[3] * rng.uniform(0.5, 1.15)), 2),
        "output_low_kw": round(0.2 * body[3], 2) if low_fire else 0.0,
        "burn_high_l_h": body[4],
        "burn_low_l_h": 0.2 if low_fire else 0.0,
        "tank_l": body[5],
        "hysteresis_k": round(float(rng.uniform(0.5, 1.5)), 2),
        "min_on_min": float(rng.integers(3, 16)),
        "min_off_min": float(rng.integers(3, 11)),
        "coolant_lag_min": round(float(rng.uniform(2.0, 6.0)), 1),
        "start_run_min": float(rng.choice([0.0, 3.0])),
    }


def draw_load(most_kg: float, rng: np.random.Generator) -> dict[str, Any]:
    """Return a load: produce that may not freeze, or fruit that may not be chilled (one in five)."""
    mass = round(float(np.exp(rng.uniform(np.log(300.0), np.log(most_kg)))), 0)
    freezes = round(float(rng.uniform(-1.8, -0.2)), 1)
    chilled = rng.random() < 0.2
    temperature = float(rng.uniform(13.0, 15.0) if chilled else rng.uniform(2.5, 9.0))
    damage = round(temperature - float(rng.uniform(1.5, 4.0)), 1) if chilled else freezes
    return {
        "mass_kg": mass,
        "temperature_c": round(temperature, 1),
        "cp_kj_kgk": round(float(rng.uniform(3.5, 4.1)), 2),
        "freezes_c": freezes,
        "damage_c": damage,
        "high_c": round(temperature + float(rng.uniform(5.0, 12.0)), 1),
        "edge_film_w_m2k": round(float(rng.uniform(2.5, 7.0)), 1),
        "bulk_w_mk": round(float(rng.uniform(0.3, 0.6)), 2),
        "respiration_w_kg": round(float(rng.uniform(0.0, 0.02)), 3) if rng.random() < 0.4 else 0.0,
    }


def draw_ambient(hours: int, rng: np.random.Generator) -> list[float]:
    """Return the forecast: a level from mild to deep winter, a daily swing and a drift over the trip."""
    hour = np.arange(hours + 1)
    level = rng.uniform(-38.0, 4.0)
    swing = rng.uniform(1.0, 8.0) * np.sin(2 * np.pi * (hour - rng.uniform(0.0, 24.0)) / 24.0)
    drift = rng.normal(0.0, 5.0) * hour / max(hours, 1)
    return [round(float(v), 2) for v in np.clip(level + swing + drift, -55.0, 35.0)]


def draw_stops(hours: int, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Return up to three stops that do not overlap; half of them switch the heater off."""
    count = int(rng.integers(0, 4))
    slots = np.linspace(1.0, hours - 2.0, 4)[:count]
    return [
        {
            "at_h": round(float(slot + rng.uniform(0.0, 1.0)), 2),
            "duration_h": round(float(rng.uniform(0.2, 0.9)), 2),
            "open_share": round(float(rng.choice([0.0, 0.3, 0.6, 1.0])), 1),
            "refuel": bool(rng.random() < 0.3),
            "heater_off": bool(rng.random() < 0.5),
        }
        for slot in slots
    ]


def draw_risk(rng: np.random.Generator) -> dict[str, Any]:
    """Return what is known of reliability and of help; the other uncertainties keep their defaults."""
    return {
        "lead_h": round(float(rng.uniform(0.0, 24.0)), 1),
        "failures": float(rng.integers(1, 5)),
        "engine_h": round(float(np.exp(rng.uniform(np.log(100.0), np.log(3000.0)))), 0),
        "help_median_h": round(float(rng.uniform(2.0, 10.0)), 1),
        "help_gsd": round(float(rng.uniform(1.4, 2.2)), 2),
    }
