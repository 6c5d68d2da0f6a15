"""fleet.telemetry: how old the newest reading is, and whether a sensor sits at the end of its range."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fleet.readiness.findings import Outcome
from tests.unit.facts import MIN, NOW, H, S, ask, facts

ID = "fleet.telemetry"


@pytest.mark.parametrize(
    ("unit_on", "age", "outcome"),
    [
        (True, timedelta(), "pass"),
        (True, 30 * MIN - S, "pass"),
        (True, 30 * MIN, "concern"),
        (True, 4 * H - S, "concern"),
        (True, 4 * H, "unknown"),
        (False, 4 * H, "pass"),
        (False, 12 * H - S, "pass"),
        (False, 12 * H, "concern"),
        (False, 36 * H - S, "concern"),
        (False, 36 * H, "unknown"),
        (None, 4 * H, "pass"),
        (True, -9 * MIN, "pass"),
    ],
)
def test_age_is_judged_by_whether_the_unit_is_on(unit_on: bool | None, age: timedelta, outcome: str) -> None:
    finding = ask(ID, facts(values={"unit_on": unit_on}, unit={"newest_at": NOW - age}))
    assert finding.outcome == outcome
    assert finding.measured == pytest.approx(age / MIN, abs=0.06)


@pytest.mark.parametrize("age", [5 * MIN, 31 * MIN])
def test_the_next_change_by_silence_happens_at_its_moment_and_not_before(age: timedelta) -> None:
    unit = facts(unit={"newest_at": NOW - age})
    finding = ask(ID, unit)
    assert finding.changes_at is not None
    assert ask(ID, unit, finding.changes_at - S).outcome is finding.outcome
    assert ask(ID, unit, finding.changes_at).outcome is not finding.outcome


def test_a_unit_that_never_sent_a_reading_is_unknown() -> None:
    finding = ask(ID, facts(unit={"newest_at": None}))
    assert finding.outcome is Outcome.UNKNOWN
    assert finding.remedy is not None


@pytest.mark.parametrize("field", ["return_air_c", "discharge_air_c", "ambient_c", "cargo_c"])
@pytest.mark.parametrize(("value", "railed"), [(-89.5, True), (-89.4, False), (119.5, True), (119.4, False)])
def test_a_sensor_at_the_end_of_its_range_says_nothing(field: str, value: float, railed: bool) -> None:
    finding = ask(ID, facts(values={field: value}))
    assert (finding.outcome is Outcome.UNKNOWN) == railed
    assert (field in finding.message) == railed


def test_a_sensor_that_was_found_flat_says_nothing_and_an_empty_finding_is_no_finding() -> None:
    stuck = ask(ID, facts(said={"fleet.flat_sensors": ["return_air_c"]}))
    assert stuck.outcome is Outcome.UNKNOWN
    assert "return_air_c" in stuck.message
    assert ask(ID, facts(said={"fleet.flat_sensors": []})).outcome is Outcome.PASS


def test_a_soft_limit_above_the_hard_one_does_not_make_a_gap() -> None:
    policy = {"telemetry_soft_on_min": 600.0, "telemetry_hard_on_h": 4.0}
    old = facts(policy=policy, unit={"newest_at": NOW - 5 * H})
    assert ask(ID, old).outcome is Outcome.PASS
    assert ask(ID, old, NOW + 5 * H).outcome is Outcome.UNKNOWN
