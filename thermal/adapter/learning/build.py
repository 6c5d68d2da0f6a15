"""A unit's design as learning takes it: the plant days are worked out with, and what was known before."""

from __future__ import annotations

import hashlib
from dataclasses import astuple
from datetime import UTC, datetime

from fleet.readiness.facts import UnitFacts
from thermal import Box, Heater, ThermalError, Unit
from thermal.adapter.designs import BOX_FIELDS, HEATER_FIELDS
from thermal.adapter.knowledge import years_since
from thermal.health.condition import Reference
from thermal.health.readings import Plant, plant_of

MENDED_FACT = "inspections.heat_mended"
"""Unit fact of the inspections: work on box or heater was signed at this moment; what was learned before is void."""
SD_LN_DESIGN, SD_LN_TEST, SD_LN_PER_Y = 0.15, 0.05, 0.01
"""How far a box may be from its paper, from a dated test, and how much more for each year since (assumptions)."""
AGEING_PER_Y, AGEING_CAP = 0.03, 0.4


def plant_for(unit: UnitFacts) -> Plant | None:
    """The plant of a unit with the K of its design when new; None when the design does not state enough.

    Age is left out on purpose: a day's sums must not depend on when they are worked out.
    """
    design = {name: value for name, value in unit.design.items() if value is not None}
    if not {"k_w_m2k", "area_m2", "heater_output_kw"} <= design.keys():
        return None
    try:
        made = Unit(
            box=Box(**{ours: design[name] for name, ours in BOX_FIELDS.items() if name in design}),
            heater=Heater(**{ours: design[name] for name, ours in HEATER_FIELDS.items() if name in design}),
        )
    except ThermalError:
        return None
    return plant_of(made)


def mark_of(plant: Plant) -> str:
    """A short word for the design, to see that it changed."""
    return hashlib.blake2b(repr(astuple(plant)).encode(), digest_size=8).hexdigest()


def reference_for(unit: UnitFacts, now: datetime) -> Reference:
    """What was known of the box before any reading: a dated test, else the design, aged to now."""
    ageing = unit.design["ageing_per_y"]
    ageing = AGEING_PER_Y if ageing is None else ageing
    if unit.k_test_w_m2k is not None and unit.k_tested_on is not None:
        years, k_w_m2k, source, sd = years_since(unit.k_tested_on, now), unit.k_test_w_m2k, "tested", SD_LN_TEST
    else:
        design_k = unit.design["k_w_m2k"]
        assert design_k is not None
        years = years_since(unit.built_on, now) if unit.built_on else 0.0
        k_w_m2k, source, sd = design_k, "design", SD_LN_DESIGN
    return Reference(k_w_m2k * (1 + min(AGEING_CAP, ageing * years)), sd + SD_LN_PER_Y * min(years, 5.0), source)


def begins_at(unit: UnitFacts) -> datetime | None:
    """From when on readings count: a dated test, or signed work on box or heater, makes older ones void."""
    moments = []
    if unit.k_tested_on is not None:
        moments.append(datetime.combine(unit.k_tested_on, datetime.min.time(), tzinfo=UTC))
    mended = unit.facts.get(MENDED_FACT)
    if mended is not None:
        moments.append(mended.at)
    return max(moments, default=None)
