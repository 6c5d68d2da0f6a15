"""fleet.availability: one trip at a time, with time to turn round. Which trips hold a unit is tested in tests/api."""

from __future__ import annotations

from datetime import datetime

import pytest

from fleet.checks.availability import Engagement, judge
from fleet.readiness.findings import Outcome
from tests.unit.facts import ARRIVE, LOADING, NOW, H, S, facts


def other(from_at: datetime, until_at: datetime, reference: str = "T-2") -> Engagement:
    return Engagement(reference, from_at, until_at)


@pytest.mark.parametrize(
    ("engagement", "outcome"),
    [
        (other(LOADING - 9 * H, LOADING + S), "block"),
        (other(LOADING - 9 * H, LOADING), "concern"),
        (other(LOADING - 9 * H, LOADING - 2 * H + S), "concern"),
        (other(LOADING - 9 * H, LOADING - 2 * H), "pass"),
        (other(ARRIVE - S, ARRIVE + 9 * H), "block"),
        (other(ARRIVE, ARRIVE + 9 * H), "concern"),
        (other(ARRIVE + 2 * H - S, ARRIVE + 9 * H), "concern"),
        (other(ARRIVE + 2 * H, ARRIVE + 9 * H), "pass"),
        (other(LOADING + H, ARRIVE - H), "block"),
        (other(LOADING - H, ARRIVE + H), "block"),
    ],
)
def test_another_trip_is_judged_by_the_gap_to_it(engagement: Engagement, outcome: str) -> None:
    finding = judge(facts(), [engagement], NOW)
    assert finding.outcome == outcome
    assert not finding.releasable


def test_the_gap_is_measured_in_hours_against_the_policy() -> None:
    finding = judge(facts(), [other(LOADING - 9 * H, LOADING - 1.5 * H)], NOW)
    assert (finding.measured, finding.required, finding.unit) == (1.5, 2.0, "h")
    strict = facts(policy={"turn_round_h": 3.0})
    assert judge(strict, [other(LOADING - 9 * H, LOADING - 2.5 * H)], NOW).outcome is Outcome.CONCERN


def test_an_overlap_behind_a_tight_gap_still_blocks_and_names_its_trip() -> None:
    both = [other(LOADING - 9 * H, LOADING - H, "T-2"), other(ARRIVE - H, ARRIVE + H, "T-3")]
    finding = judge(facts(), both, NOW)
    assert (finding.outcome, finding.cause_keys()) == (Outcome.BLOCK, ("fleet.availability:T-3",))


def test_a_unit_out_of_service_is_not_free() -> None:
    assert judge(facts(unit={"in_service": False}), [], NOW).outcome is Outcome.BLOCK


def test_nothing_else_on_the_unit_is_a_pass() -> None:
    assert judge(facts(), [], NOW).outcome is Outcome.PASS
    assert judge(facts(), None, NOW).outcome is Outcome.PASS
