"""Simulated units as rows: what learning is tested on. Histories are made once per process."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime, timedelta
from functools import cache

from fleet.ingest.fields import FIELD_NAMES
from fleet.models import Fleet, Reading, Source, Unit, UnitModel, UnitState
from fleet.readiness.facts import DESIGN_FIELDS
from fleet.simulator.decay import Change, Kind
from fleet.simulator.histories import History, HistoryPlan, histories
from fleet.simulator.yard import Reliability

NEVER = Reliability(failures_per_h=1e-9)
DAYS = 12
STEP_DAY, LOST_DAY = 6, 10


@cache
def fleet_of_four() -> list[History]:
    """Four start-stop units over twelve cold days: sound; torn box from day 6; fuel taken; heat lost in silence."""
    changes = (
        Change(1, STEP_DAY * 86_400, Kind.SHELL, 1.6),
        Change(2, 3 * 86_400, Kind.DRAIN, 45.0),
        Change(3, LOST_DAY * 86_400, Kind.SILENCE, 6.0),
    )
    plan = HistoryPlan(units=4, days=DAYS, seed=4121, changes=changes, reliability=NEVER)
    return histories(plan)


def make_unit(fleet: Fleet, history: History, *, start: datetime) -> Unit:
    """A unit with the design of a history, without readings yet."""
    design = {name: value for name, value in history.paper.items() if name in DESIGN_FIELDS}
    model, _ = UnitModel.objects.for_fleet(fleet).get_or_create(
        key=history.paper["key"], fleet=fleet, defaults={"name": history.paper["name"], **design}
    )
    built_on = (start - timedelta(days=365.25 * history.age_y)).date()
    unit: Unit = Unit.objects.create(fleet=fleet, number=history.number, model=model, built_on=built_on)
    UnitState.objects.create(fleet=fleet, unit=unit)
    return unit


def store(unit: Unit, history: History, *, start: datetime, since_d: float = 0.0, until_d: float = math.inf) -> int:
    """Stores the readings of days since_d <= day < until_d as ingest would leave them; how many."""
    source, _ = Source.objects.for_fleet(unit.fleet_id).get_or_create(
        fleet_id=unit.fleet_id, name=f"gateway/{unit.number}"
    )
    rows = [
        Reading(unit=unit, at=start + timedelta(seconds=at_s), source=source, content_hash=i, **_values(history, i))
        for i, at_s in enumerate(history.at_s.tolist())
        if since_d <= at_s / 86_400 < until_d
    ]
    if not rows:
        return 0
    Reading.objects.bulk_create(rows)
    newest = max(row.at for row in rows)
    state = UnitState.objects.across_fleets().get(unit=unit)
    if state.newest_at is None or newest > state.newest_at:
        UnitState.objects.across_fleets().filter(unit=unit).update(newest_at=newest)
    return len(rows)


def _values(history: History, i: int) -> Mapping[str, float | bool | None]:
    measured = {name: float(column[i]) for name, column in history.columns.items() if name in FIELD_NAMES}
    flags = {name: bool(column[i]) for name, column in history.flags.items()}
    return {name: None if math.isnan(value) else value for name, value in measured.items()} | flags
