"""thermal.fuel: does the fuel last to the next fill, with a reserve?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime

import msgspec
from msgspec.structs import replace

from fleet.clock import text_of
from fleet.durations import HOUR, hours
from fleet.models.readiness import Phase
from fleet.readiness.facts import Facts
from fleet.readiness.findings import NOTHING, Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words, at_loading
from thermal.adapter.checks.answers import METHOD, forecast_or_answer, minute_of, source_of
from thermal.adapter.forecasts import Forecast, Result, gather, with_fuel

ID = "thermal.fuel"
SOURCE = f"policy: fuel_reserve_l, fuel_reserve_share, fuel_reserve_h; {METHOD}"


FURTHER_FILL = Remedy("plan_fill", "A full tank does not reach from one fill to the next: plan a further fill between.")


def judge(facts: Facts, result: Result | None, now: datetime) -> Finding:
    forecast = forecast_or_answer(ID, facts, result)
    if isinstance(forecast, Finding):
        return forecast
    if forecast.inputs.fuel is None:
        return Finding(ID, Outcome.UNKNOWN, f"There is no fuel reading of {facts.unit.number}.", SOURCE)
    before_l = burnt_before_departure_l(facts, forecast, now)
    finding, leg = _weigh(facts, forecast, before_l)
    if finding.outcome is Outcome.PASS:
        return finding
    unit = forecast.inputs.unit
    if leg > 0 or unit.fuel_at_start_l >= unit.heater.tank_l:
        return replace(finding, remedy=FURTHER_FILL)
    return _with_remedy(finding, facts, forecast, before_l)


def burnt_before_departure_l(facts: Facts, forecast: Forecast, now: datetime) -> float:
    """Fuel the unit burns holding the box warm from the start of its preheat until it leaves [L]."""
    if facts.trip.phase is not Phase.PLANNED:
        return 0.0
    on_from = max(now, facts.trip.loading_at - hours(facts.policy.preheat_h))
    preheat_h = max((forecast.inputs.starts_at - on_from) / HOUR, 0.0)
    return preheat_h * _total_l(forecast) / forecast.inputs.trip.hours


def _total_l(forecast: Forecast) -> float:
    """What the whole trip burns [L]."""
    return sum([leg.need_l for leg in forecast.nominal.legs])


def reserve_l(facts: Facts, forecast: Forecast, need_l: float) -> float:
    """The largest of the policy's three reserves [L]."""
    policy, heater = facts.policy, forecast.inputs.unit.heater
    ratio = forecast.nominal.capacity.ratio
    duty = 0.0 if ratio is None else min(1.0 / ratio, 1.0)
    worst_l_h = heater.burn_low_l_h + duty * (heater.burn_high_l_h - heater.burn_low_l_h)
    return max(policy.fuel_reserve_l, policy.fuel_reserve_share * need_l, policy.fuel_reserve_h * worst_l_h)


def _weigh(facts: Facts, forecast: Forecast, before_l: float) -> tuple[Finding, int]:
    """Judges the leg that is shortest of fuel, and says which: the first from what is in the tank, later ones from a
    full tank."""
    fuel = forecast.inputs.fuel
    assert fuel is not None
    weighed = [_leg(facts, forecast, index, before_l) for index in range(len(forecast.nominal.legs))]
    worst = min(weighed, key=lambda leg: ORDER.index(leg.outcome))
    until = "the next fill" if worst.place < len(weighed) - 1 else "the last arrival"
    ends_at = forecast.at(forecast.nominal.legs[worst.place].end_h)
    text = (
        f"{worst.have_l:.0f} L usable; {worst.need_l:.0f} L needed to {until} "
        f"({minute_of(ends_at)}), {worst.required_l:.0f} L with the reserve."
    )
    finding = Finding(
        ID, worst.outcome, text, source_of(SOURCE, forecast), round(worst.have_l, 1), round(worst.required_l, 1), "L",
        round(worst.have_l / worst.need_l, 2) if worst.need_l > 0 else None,
        changes_at=fuel.at + hours(facts.policy.fuel_measured_h),
        contributes=_numbers(forecast, before_l),
    )  # fmt: skip
    return finding, worst.place


class _Leg(msgspec.Struct, frozen=True, gc=False):
    """One leg with what it has, needs, and needs with the reserve [L]."""

    place: int
    outcome: Outcome
    have_l: float
    need_l: float
    required_l: float


ORDER = (Outcome.BLOCK, Outcome.CONCERN, Outcome.PASS)


def _leg(facts: Facts, forecast: Forecast, index: int, before_l: float) -> _Leg:
    leg = forecast.nominal.legs[index]
    need_l = leg.need_l + (before_l if index == 0 else 0.0)
    have_l = leg.have_l - forecast.inputs.unit.reserve_l
    required_l = need_l + reserve_l(facts, forecast, leg.need_l)
    outcome = Outcome.PASS
    if have_l < need_l:
        outcome = Outcome.BLOCK
    elif have_l < required_l:
        outcome = Outcome.CONCERN
    return _Leg(index, outcome, have_l, need_l, required_l)


def _numbers(forecast: Forecast, before_l: float) -> Mapping[str, object]:
    if forecast.ranked:
        return NOTHING
    plan = forecast.nominal
    numbers = {
        "fuel_l": round(plan.legs[0].need_l, 1),
        "fuel_total_l": round(_total_l(forecast), 1),
        "fuel_before_departure_l": round(before_l, 1),
        "fuel_out_at": None if plan.fuel_out_h is None else text_of(forecast.at(plan.fuel_out_h)),
    }
    return {"forecast": numbers}


def _with_remedy(finding: Finding, facts: Facts, forecast: Forecast, before_l: float) -> Finding:
    """Adds how many litres would do, shown by asking the model again with them in the tank."""
    unit = forecast.inputs.unit
    tank_l, have_l = unit.heater.tank_l, unit.fuel_at_start_l
    assert finding.measured is not None
    assert finding.required is not None
    missing_l = math.ceil(finding.required - finding.measured + 0.1)  # both are rounded to a tenth
    room_l = tank_l - have_l
    amount_l = max(min(missing_l, room_l), 0.0)
    then = _weigh(facts, with_fuel(forecast, min(have_l + amount_l, tank_l)), before_l)[0].outcome
    text = f"Fill at least {amount_l:.0f} L before departure."
    if missing_l > room_l:
        text = (
            f"Fill up ({amount_l:.0f} L) and plan a further fill on the way: one tank does not reach with the reserve."
        )
    remedy = Remedy("refuel", text, amount=float(amount_l), unit="L", then=then)
    return replace(finding, remedy=remedy)


CHECK = Check(
    id=ID,
    words=Words(
        asks="Does the fuel last to the next fill, with a reserve?",
        blocks="usable fuel below what is needed to the next fill",
        concern="below need plus reserve: the largest of `fuel_reserve_l`, `fuel_reserve_share` of the need and "
        "`fuel_reserve_h` at the worst hour's burn",
        unknown="no fuel reading, or no forecast",
    ),
    judge=judge,
    gather=gather,
    due=at_loading,
)
