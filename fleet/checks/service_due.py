"""fleet.service_due: is the unit due for service before the trip ends?"""

from __future__ import annotations

import calendar
from datetime import date, datetime

from fleet.durations import HOUR
from fleet.readiness.facts import Facts, UnitFacts
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import PLANNED, Check, Words, at_loading

ID = "fleet.service_due"
SOURCE = "unit model's service plan; policy: service_grace_h, service_grace_days"


def add_months(day: date, months: int) -> date:
    """The same day of a later month, or that month's last day."""
    index = day.year * 12 + day.month - 1 + months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def months_before(now: datetime, months: int) -> datetime:
    """The same hour so many calendar months earlier: from where on records are kept."""
    return datetime.combine(add_months(now.date(), -months), now.timetz())


def hours_left(unit: UnitFacts) -> float | None:
    """Engine hours until the next service, negative when overdue; None without a plan by hours or without its facts."""
    every_h, counter = unit.design["service_every_h"], unit.values.get("engine_hours_h")
    if every_h is None or counter is None or unit.serviced_at_h is None:
        return None
    return unit.serviced_at_h + every_h - float(counter.value)


def due_on(unit: UnitFacts) -> date | None:
    """The day of the next service; None without a plan by months or without the day of the last service."""
    every_months = unit.design["service_every_months"]
    if every_months is None or unit.serviced_on is None:
        return None
    return add_months(unit.serviced_on, int(every_months))


def judge(facts: Facts, gathered: None, now: datetime) -> Finding:
    every_h, every_months = facts.unit.design["service_every_h"], facts.unit.design["service_every_months"]
    if every_h is None and every_months is None:
        return Finding(ID, Outcome.PASS, "The unit model has no service plan.", SOURCE)
    findings = [
        finding for finding in (_by_hours(facts, every_h), _by_date(facts, every_months, now)) if finding is not None
    ]
    worst = (Outcome.BLOCK, Outcome.CONCERN, Outcome.UNKNOWN, Outcome.PASS)
    return min(findings, key=lambda finding: worst.index(finding.outcome))


def _by_hours(facts: Facts, every_h: float | None) -> Finding | None:
    counter, last_h = facts.unit.values.get("engine_hours_h"), facts.unit.serviced_at_h
    if every_h is None:
        return None
    if counter is None or last_h is None:
        text = f"{'The last service' if last_h is None else 'The engine hour counter'} of the unit is not recorded."
        return Finding(ID, Outcome.UNKNOWN, text, SOURCE, remedy=_book())
    trip_h = (facts.trip.arrive_at - facts.trip.depart_at) / HOUR
    left_h = hours_left(facts.unit)
    assert left_h is not None
    if left_h < -facts.policy.service_grace_h:
        outcome, text = Outcome.BLOCK, f"Service is {-left_h:.0f} engine hours overdue."
    elif left_h < trip_h:
        outcome, text = (
            Outcome.CONCERN,
            f"Service is due in {max(left_h, 0):.0f} engine hours, within the trip.",
        )
    else:
        outcome, text = Outcome.PASS, f"Service is due in {left_h:.0f} engine hours."
    remedy = None if outcome is Outcome.PASS else _book()
    return Finding(
        ID, outcome, text, SOURCE, float(counter.value), last_h + every_h, "h", round(left_h, 1), remedy=remedy
    )  # fmt: skip


def _by_date(facts: Facts, every_months: float | None, now: datetime) -> Finding | None:
    if every_months is None:
        return None
    day = due_on(facts.unit)
    if day is None:
        return Finding(
            ID, Outcome.UNKNOWN, "The day of the unit's last service is not recorded.", SOURCE, remedy=_book()
        )
    overdue_days = (now.date() - day).days
    if overdue_days > facts.policy.service_grace_days:
        outcome, text = Outcome.BLOCK, f"Service was due on {day:%Y-%m-%d}, {overdue_days} days ago."
    elif day <= facts.trip.arrive_at.date():
        outcome, text = Outcome.CONCERN, f"Service is due on {day:%Y-%m-%d}."
    else:
        outcome, text = Outcome.PASS, f"Service is due on {day:%Y-%m-%d}."
    return Finding(ID, outcome, text, SOURCE, remedy=None if outcome is Outcome.PASS else _book())


def _book() -> Remedy:
    return Remedy("service", "Book the service, or record it if it was done.")


CHECK = Check(
    id=ID,
    words=Words(
        asks="Is the unit due for service?",
        blocks="overdue beyond `service_grace_h` engine hours or `service_grace_days`",
        concern="due before the trip ends",
        unknown="a service plan, but the last service or the engine hours are not recorded",
    ),
    judge=judge,
    due=at_loading,
    required=False,
    phases=PLANNED,
)
