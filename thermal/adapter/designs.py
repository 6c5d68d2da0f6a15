"""What a unit model's design data say of box and heater, in the model's own names."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from fleet.readiness.facts import Design
from thermal import Heater

BOX_FIELDS = {
    "k_w_m2k": "k_w_m2k",
    "area_m2": "area_m2",
    "volume_m3": "volume_m3",
    "ageing_per_y": "ageing_per_y",
    "door_width_m": "door_width_m",
    "door_height_m": "door_height_m",
    "curtain": "curtain",
}
HEATER_FIELDS = {
    "heater_output_kw": "output_kw",
    "heater_derate": "derate",
    "output_low_kw": "output_low_kw",
    "coolant_lag_min": "coolant_lag_min",
    "hysteresis_k": "hysteresis_k",
    "min_on_min": "min_on_min",
    "min_off_min": "min_off_min",
    "start_run_min": "start_run_min",
    "burn_high_l_h": "burn_high_l_h",
    "burn_low_l_h": "burn_low_l_h",
    "tank_l": "tank_l",
}
NEEDED = {"k_w_m2k": "its K value", "area_m2": "its surface", "heater_output_kw": "its heat output"}


@lru_cache(maxsize=4096, typed=True)
def made(kind: Callable[..., Any], **values: Any) -> Any:
    """A frozen value of the model. Candidates of one trip share most of theirs, and each is checked when it is made."""
    return kind(**values)


# Remembered under the very value of a design: a thousand candidates share a few models.


@lru_cache(maxsize=256)
def heater_of(design: Design) -> Heater:
    """The heater as the design states it. *Raises* ThermalError for values the physics refuses."""
    heater: Heater = made(
        Heater, **{ours: design[name] for name, ours in HEATER_FIELDS.items() if design[name] is not None}
    )
    return heater


@lru_cache(maxsize=256)
def box_stated(design: Design) -> Mapping[str, Any]:
    """What the design says of the box."""
    return {ours: design[name] for name, ours in BOX_FIELDS.items() if design[name] is not None}


@lru_cache(maxsize=256)
def unstated(design: Design) -> frozenset[str]:
    """What the design does not say and the model has to know."""
    return frozenset(name for name in NEEDED if design[name] is None)
