"""What the score and the plan of many units have in common: their columns, how their thermostats cycle, their own
risks."""

from collections.abc import Sequence
from dataclasses import dataclass

from thermal.box import network
from thermal.columns import Columns, columns_of
from thermal.heater import Thermostat, thermostat_of
from thermal.own_risk import OwnRisk, own_risks
from thermal.params import Load, Risk, Unit

__all__ = ["Prepared", "prepare"]


@dataclass(frozen=True, slots=True)
class Prepared:
    """Units (w) under one load."""

    columns: Columns
    thermostat: Thermostat
    own: OwnRisk

    def take(self, which: slice | list[int]) -> "Prepared":
        """Return the units at these places, in that order."""
        return Prepared(self.columns.take(which), self.thermostat.take(which), self.own.take(which))


def prepare(units: Sequence[Unit], load: Load | None, risks: Sequence[Risk]) -> Prepared:
    """Return what `rank` and `outlooks` ask of `units` carrying `load` (None or zero mass: empty boxes).

    `risks` has one for each unit; they may differ in what is a unit's own (`thermal.own_risk`).
    """
    columns = columns_of(units)
    return Prepared(columns, thermostat_of(network(columns, load), columns), own_risks(risks))
