"""What is due on a unit by its service plan. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from fleet.checks.service_due import add_months
from fleet.readiness.facts import UnitFacts


class Due(StrEnum):
    """Worst first: the order of the list."""

    OVERDUE = "overdue"
    UNKNOWN = "unknown"
    SOON = "soon"
    LATER = "later"
    NO_PLAN = "no_plan"


ORDER = tuple(Due)
SOON_H = 50.0
"""Engine hours left that make a service one to book now (choice)."""
SOON_DAYS = 30


@dataclass(frozen=True, slots=True)
class ServicePlan:
    """When the next service of a unit is due, by the counter and by the calendar."""

    due: Due
    due_at_h: float | None = None
    hours_left_h: float | None = None
    due_on: date | None = None
    days_left: int | None = None

    def sort_key(self) -> tuple[int, float, int]:
        hours = self.hours_left_h if self.hours_left_h is not None else float("inf")
        return ORDER.index(self.due), hours, self.days_left if self.days_left is not None else 100_000


def plan_of(unit: UnitFacts, now: datetime) -> ServicePlan:
    """The plan of one unit. What the counter or the record does not say is `unknown`, never `later`."""
    every_h, every_months = unit.design["service_every_h"], unit.design["service_every_months"]
    if every_h is None and every_months is None:
        return ServicePlan(Due.NO_PLAN)
    due_at_h = left_h = due_on = left_days = None
    if every_h is not None and unit.serviced_at_h is not None:
        due_at_h = unit.serviced_at_h + every_h
        counter = unit.values.get("engine_hours_h")
        left_h = None if counter is None else round(due_at_h - float(counter.value), 1)
    if every_months is not None and unit.serviced_on is not None:
        due_on = add_months(unit.serviced_on, int(every_months))
        left_days = (due_on - now.date()).days
    parts = [
        _grade(left_h, SOON_H) if every_h is not None else None,
        _grade(left_days, SOON_DAYS) if every_months is not None else None,
    ]
    due = min((part for part in parts if part is not None), key=ORDER.index)
    return ServicePlan(due, due_at_h, left_h, due_on, left_days)


def _grade(left: float | None, soon: float) -> Due:
    if left is None:
        return Due.UNKNOWN
    return Due.OVERDUE if left < 0 else Due.SOON if left <= soon else Due.LATER
