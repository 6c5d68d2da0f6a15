"""The answers all thermal checks share: not needed, and not known."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome
from thermal.adapter.forecasts import Forecast, NotEnough, Result

LATE = timedelta(hours=6)
"""The coldest hour is looked for so long after the planned arrival too: trips are late (choice)."""
METHOD = "thermal method, docs/thermal-method.md"


def not_needed(check: str) -> Finding:
    return Finding(check, Outcome.PASS, "Not needed: the load needs no heat.", METHOD)


def forecast_or_answer(check: str, facts: Facts, result: Result | None) -> Forecast | Finding:
    """The forecast to judge, or the finding that says why there is none."""
    if not facts.trip.needs_heat:
        return not_needed(check)
    if result is None:
        return Finding(check, Outcome.UNKNOWN, "The model was not asked.", METHOD)
    if isinstance(result, NotEnough):
        return Finding(check, Outcome.UNKNOWN, result.words, METHOD)
    return result


def source_of(rule: str, forecast: Forecast) -> str:
    """The source of a finding: its rule, and whether each value of the unit is from design data, a test or learning."""
    return f"{rule}; {forecast.inputs.knowledge.words}"


def coldest_c(facts: Facts, now: datetime) -> float | None:
    """The coldest ambient the forecast gives from now to the last arrival and LATE after it [degC].

    Linear between points, so that a cold one beyond the end counts as far as it reaches in; None without a forecast.
    """
    points = facts.trip.ambient
    if not points:
        return None
    end = facts.trip.expected_at(now) + LATE
    inside = [temp_c for at, temp_c in points if now <= at <= end]
    times = [at.timestamp() for at, _ in points]
    edges = np.interp([now.timestamp(), end.timestamp()], times, [temp_c for _, temp_c in points])
    return round(min(inside + edges.tolist()), 1)
