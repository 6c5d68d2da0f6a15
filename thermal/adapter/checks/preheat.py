"""thermal.preheat: will the box be warm when the doors open for loading?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from msgspec.structs import replace

from fleet.durations import HOUR
from fleet.models.readiness import Phase
from fleet.readiness.facts import Facts
from fleet.readiness.findings import NOTHING, Finding, Outcome, Remedy
from fleet.readiness.registry import PLANNED, Check, Words, at_preheat
from thermal.adapter.checks.answers import METHOD, forecast_or_answer
from thermal.adapter.forecasts import Forecast, Result, gather
from thermal.adapter.warming import box_air, warmings

ID = "thermal.preheat"
SOURCE = f"policy: preheat_tolerance_k, preheat_h; {METHOD}"


def judge(facts: Facts, result: Result | None, now: datetime) -> Finding:
    forecast = forecast_or_answer(ID, facts, result)
    if isinstance(forecast, Finding):
        return forecast
    if facts.trip.phase is not Phase.PLANNED:
        return Finding(ID, Outcome.PASS, "The trip is under way.", SOURCE)
    set_c = forecast.inputs.trip.set_point_c
    box = box_air(facts, set_c, now)
    if box.is_warm(facts, set_c):
        text, numbers = f"The box is warm: {box.air_c:.1f} °C.", _numbers(0.0, forecast)
        return Finding(ID, Outcome.PASS, text, SOURCE, changes_at=box.measured_until, contributes=numbers)
    if now >= facts.trip.loading_at:
        return _finding(Outcome.CONCERN, f"Loading has begun and the box air is {box.air_c:.1f} °C.", None, forecast)
    finding = _in_time(facts, forecast, air_c=box.air_c, now=now)
    moments = [moment for moment in (finding.changes_at, box.measured_until) if moment is not None]
    return replace(finding, changes_at=min(moments, default=None))


def _in_time(facts: Facts, forecast: Forecast, *, air_c: float, now: datetime) -> Finding:
    set_c = forecast.inputs.trip.set_point_c
    (warming,) = warmings([(facts, forecast.inputs)], now) if forecast.warming is None else (forecast.warming,)
    assert warming is not None  # the box is cold and loading is ahead
    if warming.empty_h is None:
        text = f"The box never gets to {set_c:g} °C; it settles near {warming.equilibrium_c or 0.0:.1f} °C."
        return _finding(Outcome.BLOCK, text, None, forecast, Remedy("change_unit", "Take a stronger unit."))
    left_h = (facts.trip.loading_at - now) / HOUR
    needed = (
        f"Warming the box from {air_c:.1f} °C takes {warming.empty_h:.1f} h; {left_h:.1f} h are left before loading."
    )
    if warming.empty_h > left_h:
        later = facts.trip.loading_at + timedelta(hours=warming.empty_h - left_h)
        remedy = Remedy("load_later", f"Switch on now and load from {later:%H:%M} UTC on.", then=Outcome.CONCERN)
        return _finding(Outcome.BLOCK, needed, warming.empty_h, forecast, remedy)
    start_by = facts.trip.loading_at - timedelta(hours=warming.empty_h)
    if now < at_preheat(facts):
        return Finding(
            ID, Outcome.PENDING, needed, SOURCE, round(left_h, 2), round(warming.empty_h, 2), "h",
            due_at=at_preheat(facts), changes_at=min(at_preheat(facts), start_by),
            contributes=_numbers(warming.empty_h, forecast),
        )  # fmt: skip
    remedy = Remedy("preheat", f"Heat the box, at the latest from {start_by:%H:%M} UTC on.")
    return Finding(
        ID, Outcome.CONCERN, needed, SOURCE, round(left_h, 2), round(warming.empty_h, 2), "h",
        remedy=remedy, changes_at=start_by, contributes=_numbers(warming.empty_h, forecast),
    )  # fmt: skip


def _finding(
    outcome: Outcome, message: str, hours: float | None, forecast: Forecast, remedy: Remedy | None = None
) -> Finding:
    return Finding(ID, outcome, message, SOURCE, remedy=remedy, contributes=_numbers(hours, forecast))


def _numbers(hours: float | None, forecast: Forecast) -> Mapping[str, object]:
    if forecast.ranked:
        return NOTHING
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
