"""thermal.chance: how likely does the load arrive undamaged?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from msgspec import structs

from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, Remedy, score_in_words
from fleet.readiness.registry import Check, Words
from thermal import Score, ThermalError, assess
from thermal.adapter.checks.answers import METHOD, forecast_or_answer, source_of
from thermal.adapter.forecasts import Result, gather
from thermal.adapter.inputs import Inputs
from thermal.chance import Causes

ID = "thermal.chance"
SOURCE = f"policy: score_floor, score_ready; {METHOD}"
WORTH_IT = 0.5
"""A remedy that gains fewer points is not proposed."""
CAUSE_WORDS = {"cold": "cold", "hot": "heat", "fuel": "fuel running out", "breakdown": "a heater failure"}


def judge(facts: Facts, result: Result | None, now: datetime) -> Finding:
    forecast = forecast_or_answer(ID, facts, result)
    if isinstance(forecast, Finding):
        return forecast
    if forecast.inputs.load is None or forecast.inputs.load.mass_kg == 0:
        return Finding(ID, Outcome.PASS, "The box is empty: there is no load to lose.", SOURCE)
    score = forecast.score
    outcome = _outcome(facts, score)
    causes = {name: round(points, 2) for name, points in zip(Causes._fields, score.causes, strict=True)}
    text = f"The load arrives undamaged in an estimated {score_in_words(score.score)} of 100 such trips."
    if outcome is not Outcome.PASS:
        worst = max(causes, key=lambda name: causes[name])
        text += f" Most is lost to {CAUSE_WORDS[worst]} ({causes[worst]:.1f} points)."
    # Among many candidates nobody asks what would mend each of them; it would cost five more scores per unit.
    sought = outcome is not Outcome.PASS and not forecast.ranked
    remedy = _best_remedy(facts, forecast.inputs, score) if sought else None
    return Finding(
        ID,
        outcome,
        text,
        source_of(SOURCE, forecast),
        measured=round(score.score, 1),
        required=facts.policy.score_ready,
        unit="points",
        margin=round(score.score - facts.policy.score_ready, 1),
        remedy=remedy,
        contributes=_numbers(score, causes, ranked=forecast.ranked),
    )


def _numbers(score: Score, causes: dict[str, float], *, ranked: bool) -> dict[str, object]:
    numbers: dict[str, object] = {"score": round(score.score, 1), "score_se": round(score.se, 2)}
    return numbers if ranked else numbers | {"score_causes": causes, "method": score.version}


def _outcome(facts: Facts, score: Score) -> Outcome:
    if score.score < facts.policy.score_floor:
        return Outcome.BLOCK
    return Outcome.CONCERN if score.score < facts.policy.score_ready else Outcome.PASS


def _best_remedy(facts: Facts, inputs: Inputs, score: Score) -> Remedy | None:
    """The single change that gains most, by asking the model again with it."""
    best: tuple[float, Remedy] | None = None
    for changed, action, words, amount, unit in _changes(facts, inputs):
        try:
            again = assess(changed.unit, load=changed.load, trip=changed.trip, risk=changed.risk)
        except ThermalError:
            continue
        gain = again.score - score.score
        if gain >= WORTH_IT and (best is None or gain > best[0]):
            text = f"{words}: the estimate becomes {score_in_words(again.score)}."
            best = (gain, Remedy(action, text, amount, unit, then=_outcome(facts, again)))
    return best[1] if best else None


def _changes(facts: Facts, inputs: Inputs) -> Iterator[tuple[Inputs, str, str, float, str]]:
    """Things somebody can do before departure, each with the inputs it leads to."""
    tank_l, have_l = inputs.unit.heater.tank_l, inputs.unit.fuel_at_start_l
    if have_l < tank_l - 1:
        full = structs.replace(inputs, unit=replace(inputs.unit, fuel_l=tank_l))
        yield full, "refuel", f"Fill the tank ({tank_l - have_l:.0f} L)", round(tank_l - have_l, 1), "L"
    set_c, high_c = inputs.trip.set_point_c, facts.trip.high_c
    for step_k in (1.0, 2.0, 3.0):
        if high_c is not None and set_c + step_k <= high_c - 2:
            warmer = structs.replace(inputs, trip=replace(inputs.trip, set_point_c=set_c + step_k))
            words = f"Plan a set point of {set_c + step_k:g} °C"
            yield warmer, "set_point", words, set_c + step_k, "degC"
    half_h = inputs.risk.help_median_h / 2
    if half_h >= 0.5:
        faster = structs.replace(inputs, risk=replace(inputs.risk, help_median_h=half_h))
        words = f"Arrange help within {half_h:.1f} h (half of the time now planned)"
        yield faster, "arrange_help", words, round(half_h, 1), "h"


CHECK = Check(
    id=ID,
    words=Words(
        asks="How likely does the load arrive undamaged?",
        blocks="score below `score_floor`",
        concern="score below `score_ready`",
        unknown="design data, forecast or load data missing",
    ),
    judge=judge,
    gather=gather,
)
