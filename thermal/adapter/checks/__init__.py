"""The thermal checks: one file each, registered by `ThermalConfig.ready()`."""

from thermal.adapter.checks import (
    battery,
    capacity,
    chance,
    coolant,
    damage_time,
    forecast,
    fuel,
    fuel_grade,
    preheat,
    warm_and_cold,
)

CHECKS = (
    battery.CHECK,
    capacity.CHECK,
    chance.CHECK,
    coolant.CHECK,
    damage_time.CHECK,
    forecast.CHECK,
    fuel.CHECK,
    fuel_grade.CHECK,
    preheat.CHECK,
    warm_and_cold.CHECK,
)
