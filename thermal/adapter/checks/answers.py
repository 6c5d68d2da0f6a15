"""The answers all thermal checks share: not needed, and not known."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache

from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome
from thermal.adapter.forecasts import Forecast, NotEnough, Result
from thermal.adapter.knowledge import Knowledge

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


@lru_cache(maxsize=4096)
def minute_of(at: datetime) -> str:
    """A moment as findings name it; the units of a ranking share most of theirs."""
    return f"{at:%Y-%m-%d %H:%M} UTC"


def source_of(rule: str, forecast: Forecast) -> str:
    """The source of a finding: its rule, and whether each value of the unit is from design data, a test or learning."""
    return f"{rule}; {_words_of(forecast.inputs.knowledge)}"


@lru_cache(maxsize=4096)
def _words_of(knowledge: Knowledge) -> str:
    """Where a unit's values are from; several findings of it say so."""
    return knowledge.words
