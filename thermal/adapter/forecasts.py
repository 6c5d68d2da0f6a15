"""Asks the model about many trips at once: the gather that all thermal checks share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import msgspec
from msgspec import structs

from fleet.durations import hours
from fleet.readiness.facts import Facts
from thermal import Load, Risk, Score, ThermalError, Trip, WarmUp, assess, rank
from thermal.adapter.inputs import Inputs, NotEnough, inputs_of
from thermal.adapter.warming import warmings
from thermal.outlook import Outlook, outlooks
from thermal.outlook import with_fuel as outlook_with_fuel
from thermal.own_risk import shared_risk, trips_part
from thermal.prepared import prepare

RANK_FROM = 8
"""From so many units for one trip on they are ranked: scored together, and remedies that cost further runs of the
model are left to the single answer."""


class Forecast(msgspec.Struct, frozen=True, gc=False):
    """The model's answer for one trip and unit."""

    inputs: Inputs
    nominal: Outlook
    score: Score
    ranked: bool = False
    """Whether this is one of many candidates. Of them only verdict, score and causes are shown: a check leaves out what
    else it would contribute to the answer."""
    warming: WarmUp | None = None
    """How long the empty box takes to be warm for loading; None where it is warm or nobody has to know."""

    def at(self, after_h: float) -> datetime:
        """The moment so many hours after the start."""
        return self.inputs.starts_at + hours(after_h)


Result = Forecast | NotEnough
Question = tuple[int, Load | None, Trip, Risk]
"""Trip id and what the model is asked about it; of the risk what does not differ from unit to unit."""


def gather(many: Sequence[Facts], now: datetime) -> Mapping[tuple[int, int], Result]:
    """One result per (trip, unit) that needs heat. No query. One that the physics refuses is NotEnough, in words."""
    results: dict[tuple[int, int], Result] = {}
    asked: dict[Question, list[tuple[Facts, Inputs]]] = {}
    known: dict[tuple[object, ...], list[tuple[Facts, Inputs]]] = {}
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
            # Nearly always the same values of a trip: to compare their identities first saves hashing whole journeys.
            same = (facts.trip.id, id(inputs.load), id(inputs.trip), trips_part(inputs.risk))
            if same not in known:
                question = (facts.trip.id, inputs.load, inputs.trip, shared_risk(inputs.risk))
                known[same] = asked.setdefault(question, [])
            known[same].append((facts, inputs))
    for question, group in asked.items():
        results |= _answer(question, group, now)
    return results


def _answer(question: Question, group: list[tuple[Facts, Inputs]], now: datetime) -> dict[tuple[int, int], Result]:
    """Scores, outlooks and warming of all units that were asked the same question, each kind in one pass."""
    _, load, trip, risk = question
    units = [inputs.unit for _, inputs in group]
    ranked = len(units) >= RANK_FROM
    prepared = prepare(units, load, [inputs.risk for _, inputs in group])
    if ranked:
        scores = rank(units, load=load, trip=trip, risk=risk, prepared=prepared)
    else:
        scores = [assess(inputs.unit, load=load, trip=trip, risk=inputs.risk) for _, inputs in group]
    plans = outlooks(units, load=load, trip=trip, risk=risk, prepared=prepared)
    found = zip(group, plans, scores, warmings(group, now), strict=True)
    return {
        (facts.trip.id, facts.unit.id): Forecast(inputs, outlook, score, ranked, warming)
        for (facts, inputs), outlook, score, warming in found
    }


def forecast_of(inputs: Inputs) -> Forecast:
    """The forecast of one set of inputs."""
    load, trip, risk = inputs.load, inputs.trip, inputs.risk
    score = assess(inputs.unit, load=load, trip=trip, risk=risk)
    return Forecast(inputs, outlooks([inputs.unit], load=load, trip=trip, risk=risk)[0], score)


def with_fuel(forecast: Forecast, fuel_l: float) -> Forecast:
    """The plan with another amount of fuel in the tank: how a remedy is verified. The score stays that of the tank
    as it is."""
    asked = forecast.inputs
    plan = outlook_with_fuel(
        forecast.nominal, fuel_l, unit=asked.unit, load=asked.load, trip=asked.trip, risk=asked.risk
    )
    return structs.replace(
        forecast, inputs=structs.replace(asked, unit=replace(asked.unit, fuel_l=fuel_l)), nominal=plan
    )
