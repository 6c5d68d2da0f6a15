"""thermal.battery: would the battery freeze, or fail to crank, at the coldest hour?"""

from __future__ import annotations

from datetime import datetime, timedelta

from msgspec.structs import replace

from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import PLANNED, Check, Words, at_loading
from thermal import ThermalError
from thermal.adapter.ambient import coldest_c
from thermal.adapter.checks.answers import not_needed
from thermal.battery import BatteryState, cranking_factor, rested_battery

ID = "thermal.battery"
FACT = "inspections.battery_rest_v"
SOURCE = "US Army TM 5-1185 (freezing, cranking), docs/thermal-method.md; policy: battery_crank_share, battery_rest_h"
VALID = timedelta(days=7)
"""A rest voltage says nothing about a battery a week later (choice)."""
CHARGE = Remedy(
    "charge_battery",
    "Charge or change the battery in a ventilated place, no sparks, eyes protected; never charge or jump a frozen one.",
)


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    if not facts.trip.needs_heat:
        return not_needed(ID)
    known, cold_c = facts.unit.facts.get(FACT), coldest_c(facts.trip, now)
    if known is None or now - known.at >= VALID:
        return Finding(
            ID, Outcome.UNKNOWN, "The battery's rest voltage has not been measured within a week.", SOURCE,
            remedy=Remedy("measure_battery", "Measure the voltage after two hours at rest, engine off."),
        )  # fmt: skip
    if cold_c is None:
        return Finding(ID, Outcome.UNKNOWN, "There is no ambient forecast.", SOURCE)
    rest_h = float(known.value["rest_h"])
    if rest_h < facts.policy.battery_rest_h:
        text = f"The battery had rested {rest_h:g} h; a voltage says something after {facts.policy.battery_rest_h:g} h."
        return Finding(ID, Outcome.UNKNOWN, text, SOURCE)
    try:
        state = rested_battery(
            float(known.value["volts"]),
            nominal_v=int(facts.unit.design["nominal_v"] or 12),
            battery_c=float(known.value["temp_c"] if known.value.get("temp_c") is not None else 20.0),
            rest_h=rest_h,
            engine_on=False,
        )
        finding = _weigh(facts, state, cold_c)
    except ThermalError as error:
        return Finding(ID, Outcome.UNKNOWN, f"The battery cannot be judged: {error}.", SOURCE)
    return replace(finding, changes_at=known.at + VALID)


def _weigh(facts: Facts, state: BatteryState, cold_c: float) -> Finding:
    crank = float(cranking_factor(min(cold_c, 26.7))) * state.charge
    wanted = facts.policy.battery_crank_share
    base = f"Battery {100 * state.charge:.0f} % charged: freezes at {state.freezes_c:.0f} °C"
    text = f"{base}, cranks with {100 * crank:.0f} % of its power at {cold_c:g} °C."
    if cold_c <= state.freezes_c:
        return _finding(Outcome.BLOCK, text, state.freezes_c, cold_c)
    if crank < wanted / 2:
        return _finding(Outcome.BLOCK, text + " The engine would not start.", state.freezes_c, cold_c)
    if crank < wanted or cold_c - state.freezes_c < facts.policy.coolant_margin_k:
        return _finding(Outcome.CONCERN, text, state.freezes_c, cold_c)
    return _finding(Outcome.PASS, text, state.freezes_c, cold_c)


def _finding(outcome: Outcome, text: str, freezes_c: float, cold_c: float) -> Finding:
    return Finding(
        ID, outcome, text, SOURCE, round(freezes_c, 1), cold_c, "degC", round(cold_c - freezes_c, 1),
        remedy=None if outcome is Outcome.PASS else CHARGE,
    )  # fmt: skip


CHECK = Check(
    id=ID,
    words=Words(
        asks="Would the battery freeze, or fail to crank, at the coldest hour?",
        blocks="the coldest hour is at or below the battery's freezing point, or cranking power is below half of "
        "`battery_crank_share`",
        concern="cranking power below `battery_crank_share`, or a thin margin to freezing",
        unknown="no rest voltage (2 h at rest, engine off) within a week",
    ),
    judge=judge,
    due=at_loading,
    required=False,
    phases=PLANNED,
)
