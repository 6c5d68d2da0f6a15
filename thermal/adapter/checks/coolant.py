"""thermal.coolant: would the coolant freeze at the coldest hour?"""

from __future__ import annotations

from datetime import datetime, timedelta

from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import PLANNED, Check, Words, at_loading
from thermal.adapter.ambient import coldest_c
from thermal.adapter.checks.answers import not_needed
from thermal.coolant import freezing_c_from_volume

ID = "thermal.coolant"
FACT = "inspections.coolant_glycol_pct"
SOURCE = "glycol table and CoolProp, docs/thermal-method.md; policy: coolant_margin_k, measured_valid_days"


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    if not facts.trip.needs_heat:
        return not_needed(ID)
    known, cold_c = facts.unit.facts.get(FACT), coldest_c(facts.trip, now)
    measure = Remedy("measure_coolant", "Measure the glycol share with a refractometer, cold, at the inspection.")
    if known is None or now - known.at >= timedelta(days=facts.policy.measured_valid_days):
        text = "The coolant's glycol share has not been measured within its validity."
        return Finding(ID, Outcome.UNKNOWN, text, SOURCE, remedy=measure)
    if cold_c is None:
        return Finding(ID, Outcome.UNKNOWN, "There is no ambient forecast.", SOURCE)
    freezes_c = float(freezing_c_from_volume(float(known.value)))
    margin_k = cold_c - freezes_c
    outcome = Outcome.PASS
    if margin_k <= 0:
        outcome = Outcome.BLOCK
    elif margin_k < facts.policy.coolant_margin_k:
        outcome = Outcome.CONCERN
    text = f"Coolant with {known.value:g} % glycol freezes at {freezes_c:.0f} °C; the coldest hour is {cold_c:g} °C."
    remedy = Remedy(
        "strengthen_coolant",
        "Bring the coolant to 50-60 % glycol by volume, engine cold, as the maker's manual says; more than 60 % "
        "protects less.",
    )
    return Finding(
        ID, outcome, text, SOURCE, round(freezes_c, 1), cold_c, "degC", round(margin_k, 1),
        remedy=None if outcome is Outcome.PASS else remedy,
        changes_at=known.at + timedelta(days=facts.policy.measured_valid_days),
    )  # fmt: skip


CHECK = Check(
    id=ID,
    words=Words(
        asks="Would the coolant freeze at the coldest hour?",
        blocks="the coldest hour is at or below the coolant's freezing point",
        concern="within `coolant_margin_k` of it",
        unknown="not measured at an inspection",
    ),
    judge=judge,
    due=at_loading,
    required=False,
    phases=PLANNED,
)
