"""Days and conditions as JSON, and back."""

from __future__ import annotations

import math
from dataclasses import asdict, fields
from typing import Any

import numpy as np

from thermal.health.condition import Condition, Value
from thermal.health.day import Day
from thermal.health.insulation import UNKNOWNS, DayHeat
from thermal.health.strength import DayRise
from thermal.health.tank import DayTank, Event, EventKind
from thermal.health.watch import Level, WatchState


def document_of_day(day: Day) -> dict[str, Any]:
    """A day as JSON. Floats keep all their digits, so that a stored day adds like a fresh one."""
    heat = day.heat
    return {
        "number": day.number,
        "heat": [heat.info.ravel().tolist(), heat.vector.tolist(), heat.hours, heat.span_k],
        "rise": [day.rise.n, day.rise.mean_k if day.rise.n else None],
        "tank": {**asdict(day.tank), "events": [asdict(event) for event in day.tank.events]},
    }


def day_of(document: dict[str, Any]) -> Day:
    """The day that `document_of_day` wrote."""
    info, vector, hours, span_k = document["heat"]
    n, mean_k = document["rise"]
    tank = dict(document["tank"])
    events = tuple(Event(**{**event, "kind": EventKind(event["kind"])}) for event in tank.pop("events"))
    return Day(
        document["number"],
        DayHeat(np.array(info).reshape(UNKNOWNS, UNKNOWNS), np.array(vector), hours, span_k),
        DayRise(n, math.nan if mean_k is None else mean_k),
        DayTank(events, **tank),
    )


def document_of_condition(condition: Condition) -> dict[str, Any]:
    """A condition for people: rounded, each value with its 90 % interval."""
    change = condition.change
    return {
        "days": condition.days,
        "hours": round(condition.hours, 1),
        "span_k": round(condition.span_k, 1),
        "enough": condition.enough,
        "ratio": _value(condition.ratio),
        "k_w_m2k": _value(condition.k),
        "output": _value(condition.output),
        "burn": _value(condition.burn),
        "full_rise_k": _rounded(condition.full_rise_k, 2),
        "rise_share": _rounded(condition.rise_share, 3),
        "gauge_high_l": _rounded(condition.gauge_high_l, 1),
        "worse_chance": _rounded(condition.worse_chance, 3),
        "change": None
        if change is None
        else {"since": change.since, "factor": round(change.factor, 3), "cause": str(change.cause)},
    }


def _value(value: Value | None) -> dict[str, float] | None:
    if value is None:
        return None
    return {
        "value": round(value.mean, 4),
        "low": round(value.low, 4),
        "high": round(value.high, 4),
        "sd_ln": round(value.sd_ln, 4),
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def document_of_watch(state: WatchState) -> dict[str, Any]:
    """The watch's state as JSON; what is not known yet is left out."""
    return {
        name: str(value) if isinstance(value, Level) else value
        for name, value in asdict(state).items()
        if not (isinstance(value, float) and math.isnan(value))
    }


def watch_of(document: dict[str, Any]) -> WatchState | None:
    """The state that `document_of_watch` wrote; None for nothing, or for what another version wrote."""
    if not document or document.keys() - {item.name for item in fields(WatchState)}:
        return None
    return WatchState(**{**document, "level": Level(document.get("level", Level.QUIET))})
