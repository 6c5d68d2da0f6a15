"""What of a risk is a unit's own: how well its box, heat and burn are known, and how often its heater has failed.

The rest of a risk (weather, load, gauge, help) belongs to the trip. Units of one trip therefore share a plan and are
scored together, although no two of them have run for the same number of hours.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from operator import attrgetter
from typing import Any

import numpy as np

from thermal.defaults import field_of
from thermal.errors import OutOfRange
from thermal.params import Risk
from thermal.ranges import Array

__all__ = ["OwnRisk", "own_risks", "shared_risk", "trips_part"]


@dataclass(frozen=True, slots=True)
class OwnRisk:
    """The fields of `Risk` that differ between units (u), shape (u,) each."""

    sd_ln_k: Array
    sd_ln_output: Array
    sd_ln_burn: Array
    failures: Array
    engine_h: Array

    def take(self, which: slice | list[int]) -> "OwnRisk":
        """Return the values of the units at these places, in that order."""
        return OwnRisk(*(getattr(self, f.name)[which] for f in fields(self)))

    def repeat(self, n: int) -> "OwnRisk":
        """Return each unit's values `n` times, unit by unit."""
        return OwnRisk(*(np.repeat(getattr(self, f.name), n) for f in fields(self)))


DEFAULTS: dict[str, Any] = {f.name: field_of(f"risk.{f.name}").default for f in fields(OwnRisk)}

trips_part = attrgetter(*(f.name for f in fields(Risk) if f.name not in DEFAULTS))
"""The rest of a risk as plain values: equal for units that can share a plan, and quicker to compare than a risk."""


@lru_cache(maxsize=4096)
def shared_risk(risk: Risk) -> Risk:
    """Return the risk with what is a unit's own put back to its default: equal for units that can share a plan."""
    return replace(risk, **DEFAULTS)


def own_risks(risks: Sequence[Risk]) -> OwnRisk:
    """Return what is each unit's own; all `risks` must share the rest."""
    first = trips_part(risks[0])
    if any(trips_part(risk) != first for risk in risks[1:]):
        raise OutOfRange("risk: units of one trip share all but their own values", field="risk", value=len(risks))
    return OwnRisk(*(np.array([getattr(risk, name) for risk in risks], dtype=np.float64) for name in DEFAULTS))
