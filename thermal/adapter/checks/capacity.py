"""thermal.capacity: is the heater strong enough for the coldest hours of this trip?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime

from fleet.clock import text_of
from fleet.readiness.facts import Facts
from fleet.readiness.findings import NOTHING, Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words
from thermal.adapter.checks.answers import METHOD, forecast_or_answer, minute_of, source_of
from thermal.adapter.forecasts import Forecast, Result, gather

ID = "thermal.capacity"
SOURCE = f"policy: heat_reserve_factor; {METHOD}"


def judge(facts: Facts, result: Result | None, now: datetime) -> Finding:
    forecast = forecast_or_answer(ID, facts, result)
    if isinstance(forecast, Finding):
        return forecast
    capacity = forecast.nominal.capacity
    if capacity.ratio is None or capacity.ratio_12h is None or capacity.worst_h is None:
        return Finding(
            ID, Outcome.PASS, "No heat is needed: it is never colder than the set point.", source_of(SOURCE, forecast),
            contributes=_numbers(forecast),
        )  # fmt: skip
    factor = facts.policy.heat_reserve_factor
    worst_at = forecast.at(capacity.worst_h)
    text = (
        f"The heater gives {capacity.available_kw:.1f} kW; the worst hour ({minute_of(worst_at)}) needs "
        f"{capacity.needed_kw:.1f} kW."
    )
    outcome, remedy = Outcome.PASS, None
    if capacity.ratio_12h < 1:
        outcome = Outcome.BLOCK
        text += f" Over the coldest 12 h it gives {100 * capacity.ratio_12h:.0f} % of what is needed."
    elif capacity.ratio < factor:
        outcome = Outcome.CONCERN
    if outcome is not Outcome.PASS:
        needed_kw = math.ceil(capacity.needed_kw * factor * 10) / 10  # up: rounded down it would not do
        remedy = Remedy(
            action="change_unit",
            text=f"Take a unit that gives at least {needed_kw:g} kW in a box as tight, or leave when it is warmer.",
            amount=needed_kw,
            unit="kW",
            then=Outcome.PASS,
        )
    return Finding(
        ID,
        outcome,
        text,
        source_of(SOURCE, forecast),
        measured=round(capacity.available_kw, 2),
        required=round(capacity.needed_kw * factor, 2),
        unit="kW",
        margin=round(capacity.ratio, 2),
        remedy=remedy,
        contributes=_numbers(forecast),
    )


def _numbers(forecast: Forecast) -> Mapping[str, object]:
    if forecast.ranked:
        return NOTHING
    capacity = forecast.nominal.capacity
    worst_h = capacity.worst_h
    return {
        "forecast": {
            "starts_at": text_of(forecast.inputs.starts_at),
            "worst_hour_at": None if worst_h is None else text_of(forecast.at(worst_h)),
            "heat_needed_kw": round(capacity.needed_kw, 2),
            "heat_available_kw": round(capacity.available_kw, 2),
            "capacity_ratio": None if capacity.ratio is None else round(capacity.ratio, 2),
            "capacity_ratio_12h": None if capacity.ratio_12h is None else round(capacity.ratio_12h, 2),
            "k_from": forecast.inputs.k_source,
        }
    }


CHECK = Check(
    id=ID,
    words=Words(
        asks="Is the heater strong enough for the coldest hours of this trip?",
        blocks="available over needed heat below 1 on the worst 12 h mean",
        concern="the worst hour below `heat_reserve_factor`",
        unknown="design data of the unit or the forecast missing",
    ),
    judge=judge,
    gather=gather,
)
