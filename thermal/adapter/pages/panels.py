"""Puts these pages into fleet's navigation and onto its pages."""

from __future__ import annotations

from datetime import datetime

from django.http import HttpRequest

from fleet.models import Unit
from fleet.pages.panels import Rendered, UnitPanel, unit_panels
from fleet.readiness.facts import UnitFacts

LEARNED = "thermal.k_w_m2k"


def register() -> None:
    """Called once, when the app is ready."""
    unit_panels.add(UnitPanel("thermal.insulation", 60, "Insulation of the box", _insulation))


def _insulation(request: HttpRequest, unit: Unit, now: datetime) -> Rendered | None:
    """What is known of how well the box keeps heat: as built, as tested, as learned from its own readings."""
    facts = UnitFacts.from_rows(unit, unit.model, unit.state)
    learned = facts.facts.get(LEARNED)
    if learned is None and unit.model.k_w_m2k is None and unit.k_test_w_m2k is None:
        return None
    best = unit.k_test_w_m2k or unit.model.k_w_m2k
    k = float(learned.value["k_w_m2k"]) if learned is not None else None
    context = {
        "design_k": unit.model.k_w_m2k,
        "tested_k": unit.k_test_w_m2k,
        "tested_on": unit.k_tested_on,
        "learned_k": k,
        "learned_at": learned.at if learned is not None else None,
        "worse_pct": 100 * (k / best - 1) if k is not None and best else None,
    }
    return Rendered("thermal/_insulation.html", context)
