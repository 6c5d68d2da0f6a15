"""What learning reads of one unit: its readings as columns, and what its design says, in SI units.

Temperatures degC, times seconds (any origin, the same for all readings of a unit), heat W, fuel L.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from thermal.columns import columns_of
from thermal.errors import OutOfRange
from thermal.params import Unit
from thermal.ranges import Array

__all__ = ["COLUMNS", "FLAGS", "Plant", "Readings", "plant_of"]

COLUMNS = (
    "return_air_c", "discharge_air_c", "ambient_c", "set_point_c", "cargo_c", "fuel_l", "engine_h", "speed_km_h",
)  # fmt: skip
FLAGS = ("running", "on", "door")


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of one unit in order of time, each array of shape (n,).

    NaN where nothing was measured. The flags `running` (the heater says it runs), `on` and `door` (open) are 1, 0 or
    NaN.
    """

    at_s: Array
    return_air_c: Array
    discharge_air_c: Array
    ambient_c: Array
    set_point_c: Array
    cargo_c: Array
    fuel_l: Array
    engine_h: Array
    speed_km_h: Array
    running: Array
    on: Array
    door: Array

    def __post_init__(self) -> None:
        for item in fields(self):
            value = np.asarray(getattr(self, item.name), dtype=np.float64)
            object.__setattr__(self, item.name, value)
            if value.shape != self.at_s.shape or value.ndim != 1:
                raise OutOfRange(f"readings.{item.name} must have the length of at_s", field=f"readings.{item.name}")
        if not np.isfinite(self.at_s).all() or (np.diff(self.at_s) <= 0).any():
            raise OutOfRange("readings.at_s must rise strictly", field="readings.at_s")

    def __len__(self) -> int:
        return len(self.at_s)

    def between(self, start_s: float, end_s: float) -> Readings:
        """Return the readings with start_s <= at_s < end_s."""
        low, high = np.searchsorted(self.at_s, [start_s, end_s])
        return Readings(**{item.name: getattr(self, item.name)[low:high] for item in fields(self)})


@dataclass(frozen=True, slots=True)
class Plant:
    """What the design says of one unit, as scalars.

    ua_w_k: shell conductance of the standing box at its reference K; lining_j_k, film_w_k, air_j_k: its inner store;
    heat_w, low_w: heat at full and low fire; burn_l_h, burn_low_l_h: fuel at both; fan_w_k: heat capacity flow of the
    fan's air, None where the design does not state it.
    """

    ua_w_k: float
    k_w_m2k: float
    area_m2: float
    lining_j_k: float
    film_w_k: float
    air_j_k: float
    moving_factor: float
    heat_w: float
    low_w: float
    lag_s: float
    hysteresis_k: float
    burn_l_h: float
    burn_low_l_h: float
    tank_l: float
    fan_w_k: float | None = None

    @property
    def always_runs(self) -> bool:
        """Whether the engine never stops between runs: then its hours say nothing of its heat."""
        return self.low_w > 0 or self.burn_low_l_h > 0


def plant_of(unit: Unit, *, fan_w_k: float | None = None) -> Plant:
    """Return the scalars of a unit of the model; `unit.box.k_w_m2k` aged by `age_y` is the reference K."""
    columns, box, heater = columns_of([unit]), unit.box, unit.heater
    ua_w_k = float(columns.ua_full[0]) / box.moving_factor
    return Plant(
        ua_w_k=ua_w_k,
        k_w_m2k=ua_w_k / box.area_m2,
        area_m2=box.area_m2,
        lining_j_k=float(columns.lining_j_k[0]),
        film_w_k=float(columns.lining_film[0]),
        air_j_k=float(columns.air_j_k[0]),
        moving_factor=box.moving_factor,
        heat_w=float(columns.q_max[0]),
        low_w=float(columns.q_low[0]),
        lag_s=float(columns.lag[0]),
        hysteresis_k=heater.hysteresis_k,
        burn_l_h=heater.burn_high_l_h,
        burn_low_l_h=heater.burn_low_l_h,
        tank_l=heater.tank_l,
        fan_w_k=fan_w_k,
    )
