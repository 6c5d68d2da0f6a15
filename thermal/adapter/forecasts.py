"""Asks the model about many trips at once: the gather that all thermal checks share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from fleet.readiness.facts import Facts
from thermal import Load, Risk, Score, ThermalError, Trip, assess, rank
from thermal.adapter.inputs import Inputs, NotEnough, inputs_of
from thermal.outlook import Outlook, outlooks

RANK_FROM = 8
"""From so many units for one load and trip on, they are scored together."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """The model's answer for one trip and unit."""

    inputs: Inputs
    nominal: Outlook
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
    """Scores and outlooks of all units that were asked the same question, each kind in one pass."""
    load, trip, risk = question
    units = [inputs.unit for _, inputs in group]
    if len(units) >= RANK_FROM:
        scores = rank(units, load=load, trip=trip, risk=risk)
    else:
        scores = [assess(unit, load=load, trip=trip, risk=risk) for unit in units]
    found = zip(group, outlooks(units, load=load, trip=trip, risk=risk), scores, strict=True)
    return {key: Forecast(inputs, outlook, score) for (key, inputs), outlook, score in found}


def forecast_of(inputs: Inputs) -> Forecast:
    """The forecast of one set of inputs."""
    load, trip, risk = inputs.load, inputs.trip, inputs.risk
    score = assess(inputs.unit, load=load, trip=trip, risk=risk)
    return Forecast(inputs, outlooks([inputs.unit], load=load, trip=trip, risk=risk)[0], score)


def with_fuel(forecast: Forecast, fuel_l: float) -> Forecast:
    """The plan with another amount of fuel in the tank: how a remedy is verified. The score stays that of the tank
    as it is."""
    inputs = replace(forecast.inputs, unit=replace(forecast.inputs.unit, fuel_l=fuel_l))
    plan = outlooks([inputs.unit], load=inputs.load, trip=inputs.trip, risk=inputs.risk)[0]
    return Forecast(inputs, plan, forecast.score)
