"""What wears, fails in silence or is stolen: changes of a simulated fleet that nobody reports.

A change comes at a moment of its own and stays, but for a silence, which ends. All sizes are choices of whoever draws
them; nothing here is a statistic of real fleets.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from fleet.simulator.network import build_chain
from fleet.simulator.quantities import taken
from fleet.simulator.yard import INNER_LAYERS, Yard


class Kind(StrEnum):
    """What a change does; `size` is a factor, or hours, or litres."""

    SHELL = "shell"  # the box loses this many times as much heat as before
    OUTPUT = "output"  # the heater gives this share of its heat and burns as before
    BURN = "burn"  # the heater burns this many times as much for the same heat
    SILENCE = "silence"  # no heat for so many hours; the unit goes on calling and reports no fault
    DRAIN = "drain"  # so many litres leave the tank at once


@dataclass(frozen=True, slots=True)
class Change:
    """One change of one unit, `at_s` seconds from the start."""

    unit: int
    at_s: int
    kind: Kind
    size: float


class Decay:
    """Brings changes into a yard. Call `strike` before every step."""

    def __init__(self, changes: Iterable[Change]) -> None:
        self.ahead = sorted(changes, key=lambda change: (change.at_s, change.unit, change.kind))
        self.struck: list[Change] = []

    def strike(self, yard: Yard) -> None:
        """Make every change that is due; a silence waits until the unit is heating a box."""
        waiting = []
        due = [change for change in self.ahead if change.at_s <= yard.now_s]
        self.ahead = self.ahead[len(due) :]
        for change in due:
            if change.kind is Kind.SILENCE and not (yard.running[change.unit] and not yard.door_open[change.unit]):
                waiting.append(change)
                continue
            _MAKE[change.kind](yard, change.unit, change.size)
            self.struck.append(Change(change.unit, yard.now_s, change.kind, change.size))
        self.ahead = waiting + self.ahead


def _shell(yard: Yard, unit: int, factor: float) -> None:
    yard.box.k_w_m2k[unit] *= factor
    column = np.array([unit])
    yard.chain.put(column, build_chain(taken(yard.box, column), taken(yard.load, column), inner=INNER_LAYERS))
    yard.integrator.factor(column)


def _output(yard: Yard, unit: int, factor: float) -> None:
    yard.thermostat.high_w[unit] *= factor
    yard.thermostat.low_w[unit] *= factor


def _burn(yard: Yard, unit: int, factor: float) -> None:
    yard.supply.high_l_s[unit] *= factor
    yard.supply.low_l_s[unit] *= factor


def _silence(yard: Yard, unit: int, hours: float) -> None:
    yard.silent[unit] = True
    yard.supply.down_until_s[unit] = yard.now_s + 3600.0 * hours


def _drain(yard: Yard, unit: int, litres: float) -> None:
    # What cannot be reached stays: a tank that ran dry is another story.
    yard.supply.fuel_l[unit] = max(yard.supply.fuel_l[unit] - litres, min(5.0, yard.supply.fuel_l[unit]))


_MAKE = {
    Kind.SHELL: _shell,
    Kind.OUTPUT: _output,
    Kind.BURN: _burn,
    Kind.SILENCE: _silence,
    Kind.DRAIN: _drain,
}
