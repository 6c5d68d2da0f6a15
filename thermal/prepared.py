"""What the score and the plan of many units have in common: their columns, and how their thermostats cycle."""

from collections.abc import Sequence
from dataclasses import dataclass

from thermal.box import network
from thermal.columns import Columns, columns_of
from thermal.heater import Thermostat, thermostat_of
from thermal.params import Load, Unit

__all__ = ["Prepared", "prepare"]


@dataclass(frozen=True, slots=True)
class Prepared:
    """Units (w) under one load."""

    columns: Columns
    thermostat: Thermostat

    def take(self, which: slice | list[int]) -> "Prepared":
        """Return the units at these places, in that order."""
        return Prepared(self.columns.take(which), self.thermostat.take(which))


def prepare(units: Sequence[Unit], load: Load | None) -> Prepared:
    """Return what `rank` and `outlooks` ask of `units` carrying `load` (None or zero mass: empty boxes)."""
    columns = columns_of(units)
    return Prepared(columns, thermostat_of(network(columns, load), columns))
