"""How often what nobody reports happens to a fleet: fuel drawn from parked units, heaters that lose output."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fleet.simulator.agenda import Agenda, Segment
from fleet.simulator.decay import Change, Kind

DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Mishaps:
    """Shares and sizes, drawn evenly between two limits. Assumptions."""

    drains_per_unit_day: float = 0.003
    """Fuel drawn by somebody from a unit that stands switched off."""
    drained_l: tuple[float, float] = (15.0, 80.0)
    losses_per_unit_day: float = 0.001
    """A heater that gives less from one moment on (a coil full of dirt, a thermostat that leaks past)."""
    output_left: tuple[float, float] = (0.4, 0.85)


NO_MISHAPS = Mishaps(drains_per_unit_day=0.0, losses_per_unit_day=0.0)


def draw_changes(
    plan: Mishaps, agendas: Sequence[Agenda], *, horizon_s: float, rng: np.random.Generator
) -> list[Change]:
    """Return the mishaps of a fleet until the horizon: Poisson in number, each on a unit drawn evenly."""
    units, days = len(agendas), len(agendas) * horizon_s / DAY_S
    changes: list[Change] = []
    for _ in range(rng.poisson(plan.losses_per_unit_day * days)):
        at_s, left = int(rng.uniform(0.0, horizon_s)), float(rng.uniform(*plan.output_left))
        changes.append(Change(int(rng.integers(units)), at_s, Kind.OUTPUT, left))
    for _ in range(rng.poisson(plan.drains_per_unit_day * days)):
        unit, litres = int(rng.integers(units)), float(rng.uniform(*plan.drained_l))
        spells = parked_spells(agendas[unit].segments, horizon_s)
        if spells:
            start, end = spells[rng.integers(len(spells))]
            changes.append(Change(unit, int(rng.uniform(start, end)), Kind.DRAIN, litres))
    return changes


def parked_spells(segments: Sequence[Segment], horizon_s: float) -> list[tuple[float, float]]:
    """Return when a unit stands switched off and shut, nobody near [s]."""
    ends = [*[float(segment.start_s) for segment in segments[1:]], horizon_s]
    spells = [
        (float(segment.start_s), min(end, horizon_s))
        for segment, end in zip(segments, ends, strict=True)
        if segment.kind == "parked"
    ]
    return [(start, end) for start, end in spells if start < end]
