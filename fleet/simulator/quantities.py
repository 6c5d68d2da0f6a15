"""What a simulated case is made of: box, heater, load, risk and trip, as arrays over worlds.

The field names are those of the calculator's request, units included; every number is an array of shape
(n,), one entry per world, so that one case, many worlds of it and a mixed batch are the same thing to the
integrator. Defaults are the documented ones of the calculator; `None` in the request means "no limit" or
"normal" where noted.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Annotated, TypeVar, get_type_hints

import numpy as np
from numpy.typing import NDArray

from fleet.simulator.errors import SimulatorError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Part = TypeVar("Part", bound="Box | Heater | Load | Risk")

REQUIRED = object()


@dataclass(frozen=True, slots=True)
class Range:
    """What a request may say for a field: default (or REQUIRED, or a field's name), closed range, null."""

    default: object
    low: float
    high: float
    null: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """Insulated box and its door, each field an array of shape (n,)."""

    k_w_m2k: Annotated[Floats, Range(REQUIRED, 0.05, 5.0)]
    area_m2: Annotated[Floats, Range(REQUIRED, 1.0, 1000.0)]
    volume_m3: Annotated[Floats, Range(85.0, 0.5, 1000.0)]
    age_y: Annotated[Floats, Range(0.0, 0.0, 60.0)]
    ageing_per_y: Annotated[Floats, Range(0.03, 0.0, 0.2)]
    moving_factor: Annotated[Floats, Range(1.1, 1.0, 2.0)]
    contact_share: Annotated[Floats, Range(0.08, 0.0, 0.5)]
    lining_kj_m2k: Annotated[Floats, Range(9.0, 0.5, 100.0)]
    lining_film_w_m2k: Annotated[Floats, Range(8.0, 1.0, 50.0)]
    door_width_m: Annotated[Floats, Range(2.4, 0.1, 6.0)]
    door_height_m: Annotated[Floats, Range(2.5, 0.1, 6.0)]
    door_flow: Annotated[Floats, Range(0.8, 0.0, 1.0)]
    curtain: Annotated[Floats, Range(0.0, 0.0, 1.0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heater:
    """Diesel heater, thermostat and tank, each field an array of shape (n,)."""

    output_kw: Annotated[Floats, Range(REQUIRED, 0.1, 200.0)]
    derate: Annotated[Floats, Range(0.9, 0.05, 1.0)]
    output_low_kw: Annotated[Floats, Range(0.0, 0.0, 200.0)]
    coolant_lag_min: Annotated[Floats, Range(4.0, 0.1, 60.0)]
    hysteresis_k: Annotated[Floats, Range(1.0, 0.05, 10.0)]
    min_on_min: Annotated[Floats, Range(10.0, 0.0, 120.0)]
    min_off_min: Annotated[Floats, Range(5.0, 0.0, 120.0)]
    burn_high_l_h: Annotated[Floats, Range(1.1, 0.01, 50.0)]
    burn_low_l_h: Annotated[Floats, Range(0.0, 0.0, 50.0)]
    tank_l: Annotated[Floats, Range(190.0, 1.0, 5000.0)]
    start_run_min: Annotated[Floats, Range(3.0, 0.0, 60.0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What is carried, each field an array of shape (n,). A mass of zero is an empty box."""

    mass_kg: Annotated[Floats, Range(REQUIRED, 0.0, 60_000.0)]
    temperature_c: Annotated[Floats, Range(REQUIRED, -40.0, 60.0)]
    cp_kj_kgk: Annotated[Floats, Range(3.6, 0.3, 5.0)]
    edge_share: Annotated[Floats, Range(0.15, 0.01, 0.9)]
    freezes_c: Annotated[Floats, Range(-1.0, -60.0, 20.0)]
    damage_c: Annotated[Floats, Range("freezes_c", -60.0, 40.0)]
    high_c: Annotated[Floats, Range(np.inf, -40.0, np.inf, null=np.inf)]
    latent_kj_kg: Annotated[Floats, Range(280.0, 0.0, 400.0)]
    edge_film_w_m2k: Annotated[Floats, Range(4.0, 0.1, 100.0)]
    full_area_m2: Annotated[Floats, Range(90.0, 0.5, 1000.0)]
    full_mass_kg: Annotated[Floats, Range(20_000.0, 10.0, 60_000.0)]
    bulk_w_mk: Annotated[Floats, Range(0.4, 0.01, 50.0)]
    full_depth_m: Annotated[Floats, Range(0.25, 0.01, 3.0)]
    respiration_w_kg: Annotated[Floats, Range(0.0, 0.0, 0.5)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """How uncertain the inputs are, fields of shape (n,). Infinite degrees of freedom are the normal law."""

    sd_ln_k: Annotated[Floats, Range(0.08, 0.0, 1.0)]
    sd_ln_output: Annotated[Floats, Range(0.07, 0.0, 1.0)]
    sd_ln_edge_film: Annotated[Floats, Range(0.25, 0.0, 1.5)]
    sd_load_c: Annotated[Floats, Range(0.5, 0.0, 10.0)]
    sd_damage_c: Annotated[Floats, Range(0.2, 0.0, 5.0)]
    sd_ln_burn: Annotated[Floats, Range(0.08, 0.0, 1.0)]
    sd_gauge_share: Annotated[Floats, Range(0.04, 0.0, 0.5)]
    forecast_sd_c: Annotated[Floats, Range(1.2, 0.0, 20.0)]
    forecast_sd_per_day_c: Annotated[Floats, Range(0.5, 0.0, 10.0)]
    forecast_correlation_h: Annotated[Floats, Range(24.0, 0.1, 1000.0)]
    forecast_tail_df: Annotated[Floats, Range(4.0, 2.1, np.inf, null=np.inf)]
    lead_h: Annotated[Floats, Range(0.0, 0.0, 400.0)]
    failures: Annotated[Floats, Range(1.0, 0.01, 1e4)]
    engine_h: Annotated[Floats, Range(1500.0, 1.0, 1e7)]
    help_median_h: Annotated[Floats, Range(4.0, 0.05, 500.0)]
    help_gsd: Annotated[Floats, Range(1.8, 1.0, 20.0)]


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop of a trip; hours from departure."""

    at_h: float
    duration_h: float
    open_share: float
    refuel: bool
    heater_off: bool


@dataclass(frozen=True, slots=True)
class Trip:
    """Set point, hourly ambient (shape (hours + 1,)), stops, and the box's start (None: at set point)."""

    set_point_c: float
    ambient_c: Floats
    stops: tuple[Stop, ...]
    box_start_c: float | None

    @property
    def hours(self) -> int:
        """Whole hours from departure to arrival."""
        return len(self.ambient_c) - 1


@dataclass(frozen=True, slots=True)
class Case:
    """One parsed request: parts of shape (1,), fuel shown by the gauge [L] and the trip."""

    box: Box
    heater: Heater
    load: Load
    risk: Risk
    fuel_l: float
    trip: Trip


RANGES: dict[type, dict[str, Range]] = {
    kind: {name: hint.__metadata__[0] for name, hint in get_type_hints(kind, include_extras=True).items()}
    for kind in (Box, Heater, Load, Risk)
}


def stacked(parts: list[Part]) -> Part:
    """Return one part with the worlds of all given parts side by side."""
    first = parts[0]
    columns = {f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(first)}
    return type(first)(**columns)


def repeated(part: Part, n: int) -> Part:
    """Return the part of one world copied to n worlds."""
    return type(part)(**{f.name: np.repeat(getattr(part, f.name), n) for f in fields(part)})


def filled(kind: type[Part], n: int, **given: Floats) -> Part:
    """Return a part of n worlds with the given columns and the documented default in every other one."""
    columns = {}
    for name, allowed in RANGES[kind].items():
        value = given.get(name, allowed.default)
        if value is REQUIRED or (isinstance(value, str) and value not in given):
            raise SimulatorError(f"{kind.__name__}.{name}: required")
        value = given[value] if isinstance(value, str) else value
        columns[name] = np.broadcast_to(np.asarray(value, dtype=np.float64), (n,)).copy()
    return kind(**columns)


def taken(part: Part, columns: Ints) -> Part:
    """Return the part of the given worlds only."""
    return type(part)(**{f.name: getattr(part, f.name)[columns] for f in fields(part)})
