"""Asks the model about many trips at once: the gather that all thermal checks share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from fleet.readiness.facts import Facts
from thermal import Load, Nominal, Risk, Score, ThermalError, Trip, assess, nominal, rank
from thermal.adapter.inputs import Inputs, NotEnough, inputs_of

RANK_FROM = 8
"""From so many units for one load and trip on, they are scored together."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """The model's answer for one trip and unit."""

    inputs: Inputs
    nominal: Nominal
    score: Score

    def at(self, hours: float) -> datetime:
        """The moment so many hours after the start."""
        return self.inputs.starts_at + timedelta(hours=hours)


Result = Forecast | NotEnough
Question = tuple[Load | None, Trip, Risk]


def gather(many: Sequence[Facts], now: datetime) -> Mapping[tuple[int, int], Result]:
    """One result per (trip, unit) that needs heat. No query. One that the physics refuses is NotEnough, in words."""
    results: dict[tuple[int, int], Result] = {}
    asked: dict[Question, list[tuple[tuple[int, int], Inputs]]] = {}
    for facts in many:
        if not facts.trip.needs_heat:
            continue
        key = (facts.trip.id, facts.unit.id)
        try:
            inputs = inputs_of(facts, now)
        except ThermalError as error:
            results[key] = NotEnough(design=(f"a value the model can use: {error}",))
            continue
        if isinstance(inputs, NotEnough):
            results[key] = inputs
        else:
            asked.setdefault((inputs.load, inputs.trip, inputs.risk), []).append((key, inputs))
    for question, group in asked.items():
        results |= _answer(question, group)
    return results


def _answer(question: Question, group: list[tuple[tuple[int, int], Inputs]]) -> dict[tuple[int, int], Result]:
    load, trip, risk = question
    results: dict[tuple[int, int], Result] = {}
    scores: dict[tuple[int, int], Score] = {}
    if len(group) >= RANK_FROM:
        ranked = rank([inputs.unit for _, inputs in group], load=load, trip=trip, risk=risk)
        scores = {key: score for (key, _), score in zip(group, ranked, strict=True)}
    for key, inputs in group:
        try:
            results[key] = forecast_of(inputs, score=scores.get(key))
        except ThermalError as error:
            results[key] = NotEnough(design=(f"a value the model can use: {error}",))
    return results


def forecast_of(inputs: Inputs, *, score: Score | None = None) -> Forecast:
    """The forecast of one set of inputs."""
    if score is None:
        score = assess(inputs.unit, load=inputs.load, trip=inputs.trip, risk=inputs.risk)
    plan = nominal(inputs.unit, load=inputs.load, trip=inputs.trip, risk=inputs.risk)
    return Forecast(inputs, plan, score)


def with_fuel(forecast: Forecast, fuel_l: float) -> Forecast:
    """The same trip with another amount of fuel in the tank: how a remedy is verified."""
    inputs = forecast.inputs
    return forecast_of(replace(inputs, unit=replace(inputs.unit, fuel_l=fuel_l)))
