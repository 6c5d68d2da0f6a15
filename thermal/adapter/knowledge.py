"""How a unit really is, as far as it is known: K, heat output, burn, gauge, each with its spread and its source.

Learned values arrive as unit facts that are already cautious (`thermal.health.condition`): a unit looks better than
its paper only by the careful end of an interval that much data support.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import msgspec

from fleet.readiness.facts import UnitFacts

__all__ = ["HEATER_FACT", "K_FACT", "Knowledge", "knowledge_of", "years_since"]

K_FACT = "thermal.k_w_m2k"
"""Unit fact: {"k_w_m2k", "sd_ln", "hours"} learned, or None."""
HEATER_FACT = "thermal.heater"
"""Unit fact: {"output", "burn"} relative to the design with "output_sd_ln", "burn_sd_ln", "gauge_high_l", "hours"."""
SD_LN_K = {"tested": 0.08, "design": 0.08, "learned": 0.08}
"""Spread of ln K where the source states none (thermal method, assumption)."""
STEP = 0.01
"""Spreads are rounded up to this, so that units with about the same one are asked together."""


class Knowledge(msgspec.Struct, frozen=True, gc=False, cache_hash=True):
    """Values to plan with. Output and burn are relative to the design; None: no spread of its own."""

    k_w_m2k: float
    age_y: float
    k_source: str
    sd_ln_k: float
    output: float = 1.0
    sd_ln_output: float | None = None
    burn: float = 1.0
    sd_ln_burn: float | None = None
    gauge_high_l: float = 0.0
    hours: float = 0.0

    @property
    def words(self) -> str:
        """Where each value is from, for a finding's source."""
        parts = [f"K {self.k_w_m2k:.2f} W/m2K ({self._of(self.k_source)})"]
        parts.append(f"heat output {self._share(self.output, self.sd_ln_output)}")
        parts.append(f"burn {self._share(self.burn, self.sd_ln_burn)}")
        if self.gauge_high_l > 0:
            parts.append(f"gauge taken to read {self.gauge_high_l:.0f} L high")
        return ", ".join(parts)

    def _of(self, source: str) -> str:
        words = {"design": "design data", "tested": "dated test"}
        return words.get(source) or f"learned from {self.hours:.0f} h of heating"

    def _share(self, share: float, sd_ln: float | None) -> str:
        return "by design" if sd_ln is None else f"{100 * share:.0f} % of the design (learned)"


def knowledge_of(unit: UnitFacts, now: datetime) -> Knowledge:
    """What to plan with for this unit. Its K has to be known from somewhere (`inputs` looks first)."""
    heater = _fact(unit, HEATER_FACT)
    learned = _fact(unit, K_FACT)
    k_w_m2k, age_y, source = _k_value(unit, learned, now)
    own_sd = learned.get("sd_ln")
    output_sd, burn_sd = heater.get("output_sd_ln"), heater.get("burn_sd_ln")
    return Knowledge(
        k_w_m2k=k_w_m2k,
        age_y=age_y,
        k_source=source,
        sd_ln_k=_up(float(own_sd)) if own_sd is not None else SD_LN_K[source],
        output=float(heater.get("output", 1.0)),
        sd_ln_output=None if output_sd is None else _up(float(output_sd)),
        burn=float(heater.get("burn", 1.0)),
        sd_ln_burn=None if burn_sd is None else _up(float(burn_sd)),
        gauge_high_l=float(heater.get("gauge_high_l", 0.0)),
        hours=float(learned.get("hours", heater.get("hours", 0.0))),
    )


def _fact(unit: UnitFacts, name: str) -> dict[str, Any]:
    known = unit.facts.get(name)
    return {} if known is None or not known.value else dict(known.value)


def _k_value(unit: UnitFacts, learned: dict[str, Any], now: datetime) -> tuple[float, float, str]:
    """K [W/m2K], years it has aged since, and where it is from: learned, else a dated test, else the design."""
    if learned:
        return float(learned["k_w_m2k"]), 0.0, "learned"
    if unit.k_test_w_m2k is not None and unit.k_tested_on is not None:
        return unit.k_test_w_m2k, years_since(unit.k_tested_on, now), "tested"
    design_k = unit.design["k_w_m2k"]
    assert design_k is not None
    return design_k, years_since(unit.built_on, now) if unit.built_on else 0.0, "design"


def years_since(day: Any, now: datetime) -> float:
    """Years from a date to now, at least 0."""
    return float(max((now.date() - day).days, 0) / 365.25)


def _up(sd_ln: float) -> float:
    return round(-(-sd_ln // STEP) * STEP, 4)
