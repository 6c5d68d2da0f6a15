"""fleet.service_due: engine hours and dates against the model's service plan and the policy's grace."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.checks.service_due import add_months
from fleet.readiness.findings import Outcome
from tests.unit.facts import NOW, ask, facts

ID = "fleet.service_due"
# The trip takes 20 h; the counter stands at 1834 h; the policy allows 50 h and 14 days past due.


def by_hours(last_h: float | None, counter: float | None = 1834.0, **more: Any) -> Any:
    return facts(
        design={"service_every_h": 500.0}, values={"engine_hours_h": counter}, unit={"serviced_at_h": last_h}, **more
    )


@pytest.mark.parametrize(
    ("left_h", "outcome"),
    [(200.0, "pass"), (20.0, "pass"), (19.9, "concern"), (0.0, "concern"), (-50.0, "concern"), (-50.1, "block")],
)
def test_engine_hours_left_are_judged_against_trip_and_grace(left_h: float, outcome: str) -> None:
    finding = ask(ID, by_hours(1834.0 - 500.0 + left_h))
    assert finding.outcome == outcome
    assert finding.margin == pytest.approx(left_h)
    assert (finding.remedy is None) == (outcome == "pass")


def test_the_policy_moves_the_grace() -> None:
    assert ask(ID, by_hours(1300.0, policy={"service_grace_h": 34.0})).outcome is Outcome.CONCERN
    assert ask(ID, by_hours(1300.0, policy={"service_grace_h": 33.0})).outcome is Outcome.BLOCK


def by_date(last_on: date | None) -> Any:
    return facts(design={"service_every_months": 12.0}, unit={"serviced_on": last_on})


@pytest.mark.parametrize(
    ("due_on", "outcome"),
    [
        (date(2027, 1, 14), "pass"),
        (date(2027, 1, 13), "concern"),  # the day of arrival
        (date(2027, 1, 12), "concern"),
        (NOW.date() - timedelta(days=14), "concern"),
        (NOW.date() - timedelta(days=15), "block"),
    ],
)
def test_the_date_is_judged_against_arrival_and_grace(due_on: date, outcome: str) -> None:
    assert ask(ID, by_date(due_on.replace(year=due_on.year - 1))).outcome == outcome


def test_the_worse_of_hours_and_date_counts() -> None:
    plan = {"service_every_h": 500.0, "service_every_months": 12.0}
    overdue_by_date = facts(design=plan, unit={"serviced_at_h": 1800.0, "serviced_on": date(2025, 1, 1)})
    overdue_by_hours = facts(design=plan, unit={"serviced_at_h": 1000.0, "serviced_on": date(2027, 1, 1)})
    assert ask(ID, overdue_by_date).outcome is Outcome.BLOCK
    assert ask(ID, overdue_by_hours).outcome is Outcome.BLOCK


@pytest.mark.parametrize(
    "unit",
    [
        by_hours(None),
        by_hours(1800.0, None),
        by_date(None),
        # One half of the plan is fine, the other is not known: that is not a pass.
        facts(
            design={"service_every_h": 500.0, "service_every_months": 12.0},
            unit={"serviced_at_h": None, "serviced_on": date(2027, 1, 1)},
        ),
        facts(
            design={"service_every_h": 500.0, "service_every_months": 12.0},
            unit={"serviced_at_h": 1800.0, "serviced_on": None},
        ),
    ],
    ids=["no last service", "no counter", "no last day", "hours not known, date fine", "date not known, hours fine"],
)
def test_a_plan_without_its_records_is_unknown(unit: Any) -> None:
    finding = ask(ID, unit)
    assert finding.outcome is Outcome.UNKNOWN
    assert finding.remedy is not None


def test_a_model_without_a_plan_is_never_due() -> None:
    assert ask(ID, facts()).outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2027, 11, 30), 3, date(2028, 2, 29)),
        (date(2026, 12, 15), 1, date(2027, 1, 15)),
        (date(2026, 5, 5), 12, date(2027, 5, 5)),
    ],
)
def test_months_end_on_the_last_day_when_there_is_no_such_day(day: date, months: int, later: date) -> None:
    assert add_months(day, months) == later
