"""Units as columns: the fields of many units as SI arrays, so that one call answers for all of them.

Every array has shape (w,). A column is one unit, or one unit in one sampled world.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from thermal.params import Unit
from thermal.ranges import Array

__all__ = ["Columns", "columns_of"]

AGEING_CAP = 0.4  # assumption: a box that lost more than 40 % of its insulation is re-tested, not extrapolated


@dataclass(frozen=True, slots=True)
class Columns:
    """SI values of units. Shapes (w,).

    ua_full [W/K] shell conductance with ageing and moving factor; area [m2]; volume [m3]; contact [-]; lining_j_k [J/K]
    without air; lining_film [W/K]; door_w_k_per_sqrt_k [W/K per sqrt(K)] of an open doorway; q_max, q_low [W]; lag,
    min_on, min_off [s]; hysteresis [K]; burn_high, burn_low [L/s]; tank, fuel [L].
    """

    ua_full: Array
    lining_film: Array
    lining_j_k: Array
    air_j_k: Array
    contact: Array
    door_w_k_per_sqrt_k: Array
    q_max: Array
    q_low: Array
    lag: Array
    min_on: Array
    min_off: Array
    hysteresis: Array
    burn_high: Array
    burn_low: Array
    tank: Array
    fuel: Array

    @property
    def width(self) -> int:
        return len(self.ua_full)

    def take(self, which: slice | list[int]) -> "Columns":
        """Return the columns at these places, in that order."""
        return Columns(*(getattr(self, f.name)[which] for f in fields(self)))

    def repeat(self, n: int) -> "Columns":
        """Return each unit `n` times, unit by unit: shape (units * n,)."""
        return Columns(**{f.name: np.repeat(getattr(self, f.name), n) for f in fields(self)})

    def scaled(self, *, k: Array, output: Array) -> "Columns":
        """Return the columns with the shell and the heat output multiplied (sampled worlds)."""
        values = {f.name: getattr(self, f.name) for f in fields(self)}
        values["ua_full"] = self.ua_full * k
        values["q_max"] = self.q_max * output
        values["q_low"] = self.q_low * output
        return Columns(**values)


AIR_J_M3K = 1256.0  # density times heat capacity of air near 0 degC: 1.25 kg/m3 x 1005 J/kgK
GRAVITY = 9.80665  # m/s2, standard gravity
DOOR_FACTOR = 0.221  # Gosney & Olama 1975 as in the ASHRAE infiltration text: 13.26 ft3/min form / 60
DOOR_MEAN_K = 278.0  # mean absolute temperature in sqrt(dT/T) of the same formula


def columns_of(units: Sequence[Unit]) -> Columns:
    """Return the SI columns of `units`, in their order.

    Notes
    -----
    `UA = K S (1 + min(0.4, ageing age)) w`. The doorway carries
    `1256 * 0.221 A sqrt(g H) sqrt(dT/278) D_f (1 - E)` watts per kelvin (Gosney & Olama 1975).
    """
    box = [unit.box for unit in units]
    heater = [unit.heater for unit in units]

    def row(values: list[float]) -> Array:
        return np.array(values, dtype=np.float64)

    door = [
        AIR_J_M3K * DOOR_FACTOR * b.door_width_m * b.door_height_m * (GRAVITY * b.door_height_m / DOOR_MEAN_K) ** 0.5
        * b.door_flow * (1 - b.curtain)
        for b in box
    ]  # fmt: skip
    return Columns(
        ua_full=row(
            [b.k_w_m2k * b.area_m2 * (1 + min(AGEING_CAP, b.ageing_per_y * b.age_y)) * b.moving_factor for b in box]
        ),
        lining_film=row([b.lining_film_w_m2k * b.area_m2 for b in box]),
        lining_j_k=row([b.lining_kj_m2k * 1e3 * b.area_m2 for b in box]),
        air_j_k=row([AIR_J_M3K * b.volume_m3 for b in box]),
        contact=row([b.contact_share for b in box]),
        door_w_k_per_sqrt_k=row(door),
        q_max=row([h.output_kw * h.derate * 1e3 for h in heater]),
        q_low=row([h.output_low_kw * 1e3 for h in heater]),
        lag=row([h.coolant_lag_min * 60 for h in heater]),
        # The run after each switch-on is a floor under the minimum on time, not added to it.
        min_on=row([max(h.min_on_min, h.start_run_min) * 60 for h in heater]),
        min_off=row([h.min_off_min * 60 for h in heater]),
        hysteresis=row([h.hysteresis_k for h in heater]),
        burn_high=row([h.burn_high_l_h / 3600 for h in heater]),
        burn_low=row([h.burn_low_l_h / 3600 for h in heater]),
        tank=row([h.tank_l for h in heater]),
        fuel=row([unit.fuel_at_start_l for unit in units]),
    )
