"""Puts these pages into fleet's navigation and onto its pages."""

from __future__ import annotations

from datetime import datetime

from django.http import HttpRequest

from fleet.models import Unit
from fleet.pages.panels import NavEntry, Rendered, UnitPanel, nav, unit_panels
from thermal.adapter.learning.health import health_document


def register() -> None:
    """Called once, when the app is ready."""
    nav.add(NavEntry("thermal.calculator", "Calculator", "page-calculator", 60))
    unit_panels.add(UnitPanel("thermal.insulation", 60, "Box, heater and tank as the readings show them", _insulation))


def _insulation(request: HttpRequest, unit: Unit, now: datetime) -> Rendered | None:
    """What is known of box, heater and tank: as built, as tested, as learned from the unit's own readings."""
    health = health_document(unit, now=now)
    if health["reference"] is None and not health["days"]:
        return None
    return Rendered(
        "thermal/_insulation.html",
        {
            "health": health,
            "design_k": unit.model.k_w_m2k,
            "tested_k": unit.k_test_w_m2k,
            "tested_on": unit.k_tested_on,
            "k": health["insulation"],
            "balance_pct": _pct(health["heat_balance"]),
            "output_pct": _pct(health["heat_output"]),
            "burn_pct": _pct(health["burn"]),
        },
    )


def _pct(value: dict[str, float] | None) -> dict[str, float] | None:
    """A value relative to the design, in per cent more or less."""
    return None if value is None else {name: 100 * (value[name] - 1) for name in ("value", "low", "high")}
