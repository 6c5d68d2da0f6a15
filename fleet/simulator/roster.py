"""A fleet of simulated units: what they are on paper, and what they really are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from fleet.simulator.errors import SimulatorError
from fleet.simulator.quantities import Box, Floats, Heater, Ints, filled

# On paper, in the words of the unit model. All invented; no real build is meant.
UNIT_MODELS: tuple[dict[str, Any], ...] = (
    {
        "key": "sim-rigid-7",
        "name": "Simulated rigid body, 7 m",
        "k_w_m2k": 0.45,
        "area_m2": 78.0,
        "volume_m3": 40.0,
        "heater_output_kw": 5.0,
        "burn_high_l_h": 0.69,
        "tank_l": 80.0,
        "nominal_v": 12.0,
        "max_load_kg": 7000.0,
    },
    {
        "key": "sim-semi-13",
        "name": "Simulated semi-trailer, 13.6 m",
        "k_w_m2k": 0.45,
        "area_m2": 147.0,
        "volume_m3": 85.0,
        "heater_output_kw": 8.0,
        "burn_high_l_h": 1.1,
        "tank_l": 190.0,
        "nominal_v": 12.0,
        "max_load_kg": 22000.0,
    },
    {
        "key": "sim-semi-13-heavy",
        "name": "Simulated semi-trailer, heavy insulation",
        "k_w_m2k": 0.38,
        "area_m2": 147.0,
        "volume_m3": 82.0,
        "heater_output_kw": 10.0,
        "burn_high_l_h": 1.38,
        "tank_l": 190.0,
        "nominal_v": 24.0,
        "max_load_kg": 21000.0,
    },
    {
        "key": "sim-semi-13-idle",
        "name": "Simulated semi-trailer, engine always on",
        "k_w_m2k": 0.45,
        "area_m2": 147.0,
        "volume_m3": 85.0,
        "heater_output_kw": 9.0,
        "output_low_kw": 1.5,
        "burn_high_l_h": 1.25,
        "burn_low_l_h": 0.25,
        "tank_l": 200.0,
        "nominal_v": 12.0,
        "max_load_kg": 22000.0,
    },
)
SHARED = {
    "heater_derate": 0.9,
    "ageing_per_y": 0.03,
    "door_width_m": 2.4,
    "door_height_m": 2.5,
    "hysteresis_k": 1.0,
    "min_on_min": 10.0,
    "min_off_min": 5.0,
    "start_run_min": 3.0,
    "coolant_lag_min": 4.0,
    "reserve_l": 5.0,
}
MIX = (0.2, 0.45, 0.2, 0.15)
OLDEST_Y = 10.0


@dataclass(frozen=True, slots=True)
class Roster:
    """n units: names, models, and the true box and heater of each. Arrays of shape (n,)."""

    numbers: tuple[str, ...]
    model: Ints
    box: Box
    heater: Heater
    age_y: Floats
    engine_h: Floats
    nominal_v: Floats

    def __len__(self) -> int:
        return len(self.numbers)

    def paper(self, unit: int) -> dict[str, Any]:
        """Return the design data of a unit's model."""
        return UNIT_MODELS[int(self.model[unit])]


def draw_roster(
    *, units: int, rng: np.random.Generator, prefix: str = "SIM", numbers: Sequence[str] | None = None
) -> Roster:
    """Return a fleet of units; each differs from its model's paper as real boxes and heaters do.

    True K is lognormal around the paper with 10 % sd (a tenth of the fleet has wet foam, 30 % more), true
    output with 6 %, burn with 7 %. With `numbers`, those unit numbers are used instead of made-up ones.
    """
    if not 1 <= units <= 100_000:
        raise SimulatorError(f"units: {units} is outside 1..100000")
    names = tuple(dict.fromkeys(numbers or [f"{prefix}-{i + 1:04d}" for i in range(units)]))
    if len(names) < units:
        raise SimulatorError(f"units: {units} wanted, {len(names)} different numbers given")
    model = rng.choice(len(UNIT_MODELS), size=units, p=MIX)
    paper = design_columns(model)
    age = rng.uniform(0.0, OLDEST_Y, units).round(1)
    box, heater = true_build(paper, age, rng)
    return Roster(
        numbers=names[:units],
        model=model,
        box=box,
        heater=heater,
        age_y=age,
        engine_h=rng.uniform(200.0, 6000.0, units).round(1),
        nominal_v=paper["nominal_v"],
    )


def design_columns(model: Ints) -> dict[str, Floats]:
    """Return each numeric design field as a column over the units."""
    stated = {key for paper in UNIT_MODELS for key in paper} | set(SHARED) | {"output_low_kw", "burn_low_l_h"}
    return {
        key: np.array([UNIT_MODELS[m].get(key, SHARED.get(key, 0.0)) for m in model])
        for key in sorted(stated - {"key", "name"})
    }


def true_build(paper: dict[str, Floats], age_y: Floats, rng: np.random.Generator) -> tuple[Box, Heater]:
    """Return the boxes and heaters as they really are."""
    units = len(age_y)

    def scatter(sd: float) -> Floats:
        return np.exp(sd * rng.standard_normal(units))

    wet = np.where(rng.random(units) < 0.1, 1.3, 1.0)
    burn = scatter(0.07)
    same_in_box = ("area_m2", "volume_m3", "ageing_per_y", "door_width_m", "door_height_m")
    box = filled(
        Box,
        units,
        k_w_m2k=paper["k_w_m2k"] * scatter(0.1) * wet,
        age_y=age_y,
        **{name: paper[name] for name in same_in_box},
    )
    same_in_heater = (
        "output_low_kw",
        "tank_l",
        "hysteresis_k",
        "min_on_min",
        "min_off_min",
        "coolant_lag_min",
    )
    heater = filled(
        Heater,
        units,
        output_kw=paper["heater_output_kw"] * scatter(0.06),
        derate=paper["heater_derate"],
        burn_high_l_h=paper["burn_high_l_h"] * burn,
        burn_low_l_h=paper["burn_low_l_h"] * burn,
        start_run_min=paper["start_run_min"],
        **{name: paper[name] for name in same_in_heater},
    )
    return box, heater


def fleet_file(
    roster: Roster, *, start: datetime, code_book: Sequence[tuple[str, str, str, str, str]]
) -> dict[str, list[dict[str, Any]]]:
    """Return what has to exist before events are posted, each entry the body of one request, in this order."""
    models = [UNIT_MODELS[m] for m in sorted({int(m) for m in roster.model})]
    columns = ("code", "tier", "component", "meaning", "what_to_do")
    entries = [dict(zip(columns, line, strict=True)) for line in code_book]
    units = [
        {
            "number": number,
            "model": roster.paper(i)["key"],
            "built_on": (start - timedelta(days=365.25 * float(roster.age_y[i]))).date().isoformat(),
        }
        for i, number in enumerate(roster.numbers)
    ]
    return {
        "unit-models": [{**SHARED, **model} for model in models],
        "units": units,
        "code-books": [{"unit_model": model["key"], "entries": entries} for model in models],
    }
