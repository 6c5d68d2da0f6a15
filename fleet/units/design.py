"""Design data of unit models on the wire: one row per value with its unit and the physics it must obey."""

from __future__ import annotations

from dataclasses import dataclass

from rest_framework import serializers

from fleet.http.fields import FiniteFloatField, QuantityField


@dataclass(frozen=True, slots=True)
class DesignValue:
    """One design value: column, dimension (None: a plain number), and limits."""

    name: str
    unit: str | None
    low: float
    high: float

    def field(self) -> serializers.Field:
        if self.unit is None:
            return FiniteFloatField(min_value=self.low, max_value=self.high, required=False, allow_null=True)
        return QuantityField(unit=self.unit, min_value=self.low, max_value=self.high, required=False, allow_null=True)


DESIGN_VALUES: tuple[DesignValue, ...] = (
    DesignValue("k_w_m2k", "w_m2k", 0.1, 3.0),
    DesignValue("area_m2", "m2", 1.0, 400.0),
    DesignValue("volume_m3", "m3", 0.2, 250.0),
    DesignValue("width_m", "m", 0.5, 4.0),
    DesignValue("wall_mm", None, 5.0, 300.0),
    DesignValue("ageing_per_y", None, 0.0, 0.2),
    DesignValue("door_width_m", "m", 0.3, 4.0),
    DesignValue("door_height_m", "m", 0.3, 4.0),
    DesignValue("curtain", None, 0.0, 0.98),
    DesignValue("heater_output_kw", "kw", 0.1, 60.0),
    DesignValue("heater_derate", None, 0.1, 1.0),
    DesignValue("output_low_kw", "kw", 0.0, 60.0),
    DesignValue("burn_high_l_h", "l_h", 0.01, 20.0),
    DesignValue("burn_low_l_h", "l_h", 0.0, 20.0),
    DesignValue("tank_l", "l", 1.0, 2000.0),
    DesignValue("reserve_l", "l", 0.0, 500.0),
    DesignValue("hysteresis_k", "k", 0.1, 5.0),
    DesignValue("min_on_min", "min", 0.0, 60.0),
    DesignValue("min_off_min", "min", 0.0, 60.0),
    DesignValue("start_run_min", "min", 0.0, 60.0),
    DesignValue("coolant_lag_min", "min", 0.0, 30.0),
    DesignValue("nominal_v", "v", 12.0, 24.0),
    DesignValue("max_load_kg", "kg", 1.0, 60_000.0),
    DesignValue("service_every_h", "h", 10.0, 10_000.0),
    DesignValue("service_every_months", None, 1.0, 60.0),
    DesignValue("belt_tension_low_n", None, 1.0, 5000.0),
    DesignValue("belt_tension_high_n", None, 1.0, 5000.0),
)
DESIGN_NAMES: tuple[str, ...] = tuple(value.name for value in DESIGN_VALUES)
ORDERED = (
    ("output_low_kw", "heater_output_kw"),
    ("burn_low_l_h", "burn_high_l_h"),
    ("reserve_l", "tank_l"),
    ("belt_tension_low_n", "belt_tension_high_n"),
)
