"""thermal.forecast: does the ambient forecast reach far enough, is it fresh, and does the yard agree with it?"""

from __future__ import annotations

from datetime import datetime

from fleet.durations import HOUR, hours
from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words
from thermal.adapter.ambient import ambient_at
from thermal.adapter.checks.answers import not_needed
from thermal.adapter.inputs import forecast_gap

ID = "thermal.forecast"
SOURCE = "policy: forecast_age_h, forecast_colder_k"
RENEW = Remedy("renew_forecast", "Put a fresh ambient forecast that reaches the last arrival.")
FRESH = HOUR


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    if not facts.trip.needs_heat:
        return not_needed(ID)
    gap = forecast_gap(facts.trip, now)
    if gap:
        return Finding(ID, Outcome.UNKNOWN, f"{gap[0].upper()}{gap[1:]}.", SOURCE, remedy=RENEW)
    colder = _yard_colder_k(facts, now)
    if colder is not None and colder > facts.policy.forecast_colder_k:
        text = f"It is {colder:.1f} K colder at the unit than the forecast says for now."
        return Finding(
            ID, Outcome.CONCERN, text, SOURCE, round(colder, 1), facts.policy.forecast_colder_k, "K", remedy=RENEW,
            changes_at=facts.unit.values["ambient_c"].at + FRESH,
        )  # fmt: skip
    issued_at = facts.trip.ambient_issued_at
    if issued_at is None:
        return Finding(ID, Outcome.CONCERN, "The forecast does not say when it was made.", SOURCE, remedy=RENEW)
    limit = hours(facts.policy.forecast_age_h)
    age_h = (now - issued_at) / HOUR
    old = now - issued_at >= limit
    return Finding(
        ID,
        Outcome.CONCERN if old else Outcome.PASS,
        f"The forecast is {age_h:.1f} h old.",
        SOURCE,
        round(age_h, 1),
        facts.policy.forecast_age_h,
        "h",
        remedy=RENEW if old else None,
        changes_at=None if old else issued_at + limit,
    )


def _yard_colder_k(facts: Facts, now: datetime) -> float | None:
    """How much colder the unit's ambient sensor reads than the forecast for that moment [K]."""
    reading = facts.unit.values.get("ambient_c")
    points = facts.trip.ambient
    if reading is None or now - reading.at >= FRESH or not points[0][0] <= reading.at <= points[-1][0]:
        return None
    return ambient_at(facts.trip, reading.at) - float(reading.value)


CHECK = Check(
    id=ID,
    words=Words(
        asks="Does the ambient forecast reach far enough, is it fresh, and does the yard agree with it?",
        concern="older than `forecast_age_h`, undated, or the yard reads more than `forecast_colder_k` colder",
        unknown="it does not reach the last arrival",
    ),
    judge=judge,
)
