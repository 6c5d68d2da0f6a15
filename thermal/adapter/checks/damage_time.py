"""thermal.time_to_damage: if the heat stops, is there time for help to come before the load is damaged?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime

from fleet.clock import text_of
from fleet.models.readiness import Phase
from fleet.readiness.facts import Facts
from fleet.readiness.findings import NOTHING, Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words
from thermal.adapter.checks.answers import METHOD, forecast_or_answer, minute_of
from thermal.adapter.forecasts import Forecast, Result, gather

ID = "thermal.time_to_damage"
SOURCE = f"help time of the trip or policy: help_p90_h; {METHOD}"


def judge(facts: Facts, result: Result | None, now: datetime) -> Finding:
    forecast = forecast_or_answer(ID, facts, result)
    if isinstance(forecast, Finding):
        return forecast
    curve = forecast.nominal.damage_after_h
    help_h = facts.trip.help_p90_h or facts.policy.help_p90_h
    worst = int(curve.argmin())
    least_h, first_h = float(curve[worst]), float(curve[0])
    numbers = _numbers(facts, forecast, worst, least_h=least_h, first_h=first_h)
    if math.isinf(least_h):
        text = "Without heat the load would not reach its damage limit before arrival."
        return Finding(ID, Outcome.PASS, text, SOURCE, required=help_h, unit="h", contributes=numbers)
    text = (
        f"If the heat stops at {minute_of(forecast.at(worst))}, the edge of the load reaches "
        f"{facts.trip.damage_c:g} °C after {least_h:.1f} h; help takes up to {help_h:g} h."
    )
    short = least_h < help_h
    within_h = math.floor(least_h * 10) / 10  # down: rounded up it would come too late
    remedy = None
    if short:
        text_of_it = f"Arrange help within {within_h:g} h along the route."
        remedy = Remedy("arrange_help", text_of_it, within_h, "h", Outcome.PASS)
    return Finding(
        ID,
        Outcome.CONCERN if short else Outcome.PASS,
        text,
        SOURCE,
        measured=round(least_h, 2),
        required=help_h,
        unit="h",
        margin=round(least_h - help_h, 2),
        remedy=remedy,
        contributes=numbers,
    )


def _numbers(facts: Facts, forecast: Forecast, worst: int, *, least_h: float, first_h: float) -> Mapping[str, object]:
    if forecast.ranked:
        return NOTHING
    known = math.isfinite(least_h)
    numbers: dict[str, object] = {
        "damage_limit_c": facts.trip.damage_c,
        "damage_after_h": round(least_h, 2) if known else None,
        "damage_after_worst_at": text_of(forecast.at(worst)) if known else None,
    }
    if facts.trip.phase is Phase.UNDER_WAY:
        soon = math.isfinite(first_h)
        numbers["damage_after_now_h"] = round(first_h, 2) if soon else None
        numbers["damage_at"] = text_of(forecast.at(first_h)) if soon else None
    return {"forecast": numbers}


CHECK = Check(
    id=ID,
    words=Words(
        asks="If the heat stops, is there time for help to come before the load is damaged?",
        concern="somewhere on the trip the time to damage is shorter than the time help needs (nine cases of ten)",
        unknown="design data, forecast or load data missing",
    ),
    judge=judge,
    gather=gather,
    required=False,
)
