"""thermal.range: does the load stay within its agreed range, on the warm side too?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from fleet.clock import text_of
from fleet.readiness.facts import Facts
from fleet.readiness.findings import NOTHING, Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words
from thermal.adapter.checks.answers import METHOD, forecast_or_answer, minute_of
from thermal.adapter.forecasts import Forecast, Result, gather

ID = "thermal.range"
SOURCE = f"load limits; {METHOD}"


def judge(facts: Facts, result: Result | None, now: datetime) -> Finding:
    damage_c, high_c = facts.trip.damage_c, facts.trip.high_c
    low_c = facts.trip.low_c
    floor_c = max([limit for limit in (damage_c, low_c) if limit is not None], default=None)
    if facts.trip.needs_heat and high_c is not None and floor_c is not None and floor_c >= high_c:
        text = (
            f"No temperature suits all of the load: part of it needs {floor_c:g} °C or more, "
            f"part at most {high_c:g} °C."
        )
        return Finding(
            ID, Outcome.BLOCK, text, SOURCE, releasable=False,
            remedy=Remedy("split_load", "Carry these goods on different trips."),
        )  # fmt: skip
    forecast = forecast_or_answer(ID, facts, result)
    if isinstance(forecast, Finding):
        return forecast
    plan = forecast.nominal
    if plan.coldest_edge_c is None or plan.warmest_c is None or plan.coldest_edge_h is None:
        return Finding(ID, Outcome.PASS, "The box is empty.", SOURCE)
    if high_c is not None and plan.warmest_c >= high_c:
        return _finding(
            Outcome.BLOCK,
            f"The load warms to {plan.warmest_c:.1f} °C, above its {high_c:g} °C. A heater cannot cool it.",
            plan.warmest_c, high_c, forecast, Remedy("change_vehicle", "Take a vehicle that can cool."),
        )  # fmt: skip
    if low_c is not None and plan.coldest_edge_c < low_c:
        at = forecast.at(plan.coldest_edge_h)
        return _finding(
            Outcome.CONCERN,
            f"The edge of the load cools to {plan.coldest_edge_c:.1f} °C at {minute_of(at)}, "
            f"below the agreed {low_c:g} °C.",
            plan.coldest_edge_c, low_c, forecast,
            Remedy("set_point", "Plan a higher set point, or agree a lower limit with the shipper."),
        )  # fmt: skip
    text = f"The edge of the load stays at {plan.coldest_edge_c:.1f} °C or above."
    return _finding(Outcome.PASS, text, plan.coldest_edge_c, low_c, forecast, None)


def _finding(
    outcome: Outcome,
    message: str,
    measured: float,
    required: float | None,
    forecast: Forecast,
    remedy: Remedy | None,
) -> Finding:
    plan = forecast.nominal
    assert plan.coldest_edge_c is not None
    assert plan.coldest_edge_h is not None
    assert plan.warmest_c is not None
    margin = None if required is None else round(measured - required, 2)
    numbers: Mapping[str, object] = NOTHING
    if not forecast.ranked:
        numbers = {
            "forecast": {
                "coldest_edge_c": round(plan.coldest_edge_c, 2),
                "coldest_edge_at": text_of(forecast.at(plan.coldest_edge_h)),
                "warmest_c": round(plan.warmest_c, 2),
            }
        }
    return Finding(
        ID, outcome, message, SOURCE, round(measured, 2), required, "degC", margin, remedy=remedy,
        contributes=numbers,
    )  # fmt: skip


CHECK = Check(
    id=ID,
    words=Words(
        asks="Does the load stay within its agreed range, on the warm side too?",
        blocks="the load warms above `high_c` (a heater cannot cool), or no temperature suits all of a mixed load",
        concern="the nominal edge of the load falls below the agreed `low_c`",
        unknown="design data, forecast or load data missing",
    ),
    judge=judge,
    gather=gather,
    required=False,
)
