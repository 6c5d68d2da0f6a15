"""thermal.preheat: will the box be warm when the doors open for loading?"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from fleet.models.readiness import Phase
from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import PLANNED, Check, Words, at_preheat
from thermal import warm_up
from thermal.adapter.checks.answers import METHOD, forecast_or_answer
from thermal.adapter.forecasts import Forecast, Result, gather

ID = "thermal.preheat"
SOURCE = f"policy: preheat_tolerance_k, preheat_h; {METHOD}"
FRESH = timedelta(hours=1)


def judge(facts: Facts, result: Result | None, now: datetime) -> Finding:
    forecast = forecast_or_answer(ID, facts, result)
    if isinstance(forecast, Finding):
        return forecast
    if facts.trip.phase is not Phase.PLANNED:
        return Finding(ID, Outcome.PASS, "The trip is under way.", SOURCE)
    set_c = forecast.inputs.trip.set_point_c
    ambient_c = _ambient_at(facts, facts.trip.loading_at)
    air = facts.unit.values.get("return_air_c")
    fresh = air is not None and now - air.at < FRESH
    air_c = float(air.value) if air is not None and fresh else min(ambient_c, set_c)
    stale_at = air.at + FRESH if air is not None and fresh else None
    if fresh and air_c >= set_c - facts.policy.preheat_tolerance_k:
        warm = _finding(Outcome.PASS, f"The box is warm: {air_c:g} °C.", 0.0, forecast)
        return warm._replace(changes_at=stale_at)
    if now >= facts.trip.loading_at:
        return _finding(Outcome.CONCERN, f"Loading has begun and the box air is {air_c:g} °C.", None, forecast)
    finding = _in_time(facts, forecast, air_c=air_c, ambient_c=ambient_c, now=now)
    moments = [moment for moment in (finding.changes_at, stale_at) if moment is not None]
    return finding._replace(changes_at=min(moments, default=None))


def _in_time(facts: Facts, forecast: Forecast, *, air_c: float, ambient_c: float, now: datetime) -> Finding:
    soak_c, set_c = min(air_c, forecast.inputs.trip.set_point_c), forecast.inputs.trip.set_point_c
    warming = warm_up(
        forecast.inputs.unit, load=None, set_point_c=set_c, soak_c=soak_c, ambient_c=min(ambient_c, soak_c)
    )
    if warming.empty_h is None:
        text = f"The box never gets to {set_c:g} °C; it settles near {warming.equilibrium_c or 0.0:.1f} °C."
        return _finding(Outcome.BLOCK, text, None, forecast, Remedy("change_unit", "Take a stronger unit."))
    left_h = (facts.trip.loading_at - now) / timedelta(hours=1)
    needed = f"Warming the box from {air_c:g} °C takes {warming.empty_h:.1f} h; {left_h:.1f} h are left before loading."
    if warming.empty_h > left_h:
        later = facts.trip.loading_at + timedelta(hours=warming.empty_h - left_h)
        remedy = Remedy("load_later", f"Switch on now and load from {later:%H:%M} UTC on.", then=Outcome.CONCERN)
        return _finding(Outcome.BLOCK, needed, warming.empty_h, forecast, remedy)
    start_by = facts.trip.loading_at - timedelta(hours=warming.empty_h)
    if now < at_preheat(facts):
        return Finding(
            ID, Outcome.PENDING, needed, SOURCE, round(left_h, 2), round(warming.empty_h, 2), "h",
            due_at=at_preheat(facts), changes_at=min(at_preheat(facts), start_by),
            contributes=_numbers(warming.empty_h),
        )  # fmt: skip
    remedy = Remedy("preheat", f"Heat the box, at the latest from {start_by:%H:%M} UTC on.")
    return Finding(
        ID, Outcome.CONCERN, needed, SOURCE, round(left_h, 2), round(warming.empty_h, 2), "h",
        remedy=remedy, changes_at=start_by, contributes=_numbers(warming.empty_h),
    )  # fmt: skip


def _ambient_at(facts: Facts, at: datetime) -> float:
    times = [point_at.timestamp() for point_at, _ in facts.trip.ambient]
    return float(np.interp(at.timestamp(), times, [temp_c for _, temp_c in facts.trip.ambient]))


def _finding(
    outcome: Outcome, message: str, hours: float | None, forecast: Forecast, remedy: Remedy | None = None
) -> Finding:
    return Finding(ID, outcome, message, SOURCE, remedy=remedy, contributes=_numbers(hours))


def _numbers(hours: float | None) -> dict[str, object]:
    return {"forecast": {"preheat_h": None if hours is None else round(hours, 2)}}


CHECK = Check(
    id=ID,
    words=Words(
        asks="Will the box be warm when the doors open for loading?",
        blocks="the box cannot reach the set point by `loading_at`",
        concern="not yet within `preheat_tolerance_k`",
        unknown="design data of the unit or the forecast missing",
    ),
    judge=judge,
    gather=gather,
    phases=PLANNED,
    required=False,
)
