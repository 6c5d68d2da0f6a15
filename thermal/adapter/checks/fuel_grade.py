"""thermal.fuel_grade: would the fuel in the tank, or at the planned fill, gel at the coldest hour?"""

from __future__ import annotations

from datetime import datetime, timedelta

from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import PLANNED, Check, Words, at_loading
from thermal import ThermalError
from thermal.adapter.ambient import coldest_c
from thermal.adapter.checks.answers import not_needed
from thermal.diesel import Flow, flow_at, fuel_grade

ID = "thermal.fuel_grade"
FACT = "inspections.fuel_grade"
SOURCE = "EN 590 cold classes; rule of the project (docs/thermal-method.md)"
VALID = timedelta(days=30)
OUTCOMES = {Flow.SUFFICIENT: Outcome.PASS, Flow.MARGINAL: Outcome.CONCERN, Flow.GEL: Outcome.BLOCK}
SHIFT = Remedy("winter_fuel", "Fill winter fuel of a class fit for the coldest hour; never add petrol.")


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    if not facts.trip.needs_heat:
        return not_needed(ID)
    known, cold_c = facts.unit.facts.get(FACT), coldest_c(facts.trip, now)
    if known is None or now - known.at >= VALID:
        text = "The class of the fuel in the tank has not been recorded within 30 days."
        return Finding(ID, Outcome.UNKNOWN, text, SOURCE, remedy=Remedy("record_fuel", "Record the fuel's class."))
    if cold_c is None:
        return Finding(ID, Outcome.UNKNOWN, "There is no ambient forecast.", SOURCE)
    try:
        grade = fuel_grade(str(known.value))
        flow = flow_at(cold_c, grade=grade)
    except ThermalError as error:
        return Finding(ID, Outcome.UNKNOWN, f"The fuel cannot be judged: {error}.", SOURCE)
    outcome = OUTCOMES[flow]
    text = f"Fuel {grade.key} is {flow} at {cold_c:g} °C."
    measured = grade.cfpp_c
    margin = None if measured is None else round(cold_c - measured, 1)
    remedy = None if outcome is Outcome.PASS else SHIFT
    return Finding(
        ID, outcome, text, SOURCE, measured, cold_c, "degC", margin, remedy=remedy, changes_at=known.at + VALID
    )


CHECK = Check(
    id=ID,
    words=Words(
        asks="Would the fuel in the tank gel at the coldest hour?",
        blocks="the coldest hour is below the filterability limit plus its margin",
        concern="between cloud point and that limit",
        unknown="the class of the fuel is not recorded",
    ),
    judge=judge,
    due=at_loading,
    required=False,
    phases=PLANNED,
)
