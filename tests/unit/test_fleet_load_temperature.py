"""fleet.load_temperature: what was measured at loading, against limits a heater cannot mend."""

from __future__ import annotations

from datetime import datetime

import pytest

from fleet.readiness.findings import Outcome
from tests.unit.facts import DEPART, LOADING, NOW, H, S, ask, facts, known, load, under_way

ID = "fleet.load_temperature"
AT_LOADING = LOADING + 0.5 * H


def measured(temp_c: float, at: datetime = AT_LOADING, **more):
    return facts(values={"cargo_c": None}, said={"inspections.load_temperature_c": known(temp_c, at)}, **more)


@pytest.mark.parametrize(
    ("temp_c", "outcome", "required"),
    [
        (3.9, "block", 4.0),
        (4.0, "concern", 4.0),
        (4.99, "concern", 4.0),
        (5.0, "pass", 4.0),
        (8.0, "pass", 4.0),
        (14.0, "pass", 15.0),
        (14.01, "concern", 15.0),
        (15.0, "concern", 15.0),
        (15.1, "block", 15.0),
    ],
)
def test_a_measured_load_is_judged_at_its_limits(temp_c: float, outcome: str, required: float) -> None:
    finding = ask(ID, measured(temp_c), AT_LOADING)
    assert (finding.outcome, finding.measured, finding.required) == (outcome, temp_c, required)
    assert finding.margin == pytest.approx(abs(temp_c - required), abs=0.006)


def test_a_load_outside_its_limits_cannot_be_released() -> None:
    finding = ask(ID, measured(20.0), AT_LOADING)
    assert not finding.releasable
    assert finding.remedy is not None
    assert finding.remedy.action == "refuse_load"


def test_the_damage_limit_governs_when_it_lies_above_the_agreed_range() -> None:
    chilled = load(low_c=4.0, damage_c=12.0)
    assert ask(ID, measured(11.9, loads=[chilled]), AT_LOADING).outcome is Outcome.BLOCK
    assert ask(ID, measured(13.5, loads=[chilled]), AT_LOADING).outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("at", "counts"),
    [(LOADING - H - S, False), (LOADING - H, True), (LOADING, True)],
)
def test_only_a_measurement_from_an_hour_before_loading_on_belongs_to_this_trip(at: datetime, counts: bool) -> None:
    finding = ask(ID, measured(8.0, at), AT_LOADING)
    assert (finding.outcome is Outcome.PASS) == counts
    assert (finding.outcome is Outcome.UNKNOWN) == (not counts)


def test_under_way_the_measurement_of_loading_still_counts_and_the_sensor_takes_over() -> None:
    now = DEPART + 4 * H
    at_loading = {"inspections.load_temperature_c": known(8.0, AT_LOADING)}
    older = under_way(values={"cargo_c": None}, said=at_loading)
    newer = under_way(values={"cargo_c": known(2.0, now)}, said=at_loading)
    assert ask(ID, older, now).outcome is Outcome.PASS
    assert ask(ID, newer, now).outcome is Outcome.BLOCK


def test_a_measurement_stops_counting_at_the_moment_it_announces() -> None:
    late = measured(8.0)
    finding = ask(ID, late, AT_LOADING)
    assert finding.changes_at == AT_LOADING + 12 * H
    assert ask(ID, late, finding.changes_at - S).outcome is Outcome.PASS
    assert ask(ID, late, finding.changes_at).outcome is Outcome.UNKNOWN


def test_the_newer_of_probe_and_sensor_is_believed() -> None:
    both = facts(
        values={"cargo_c": known(2.0, AT_LOADING + S)},
        said={"inspections.load_temperature_c": known(8.0, AT_LOADING)},
    )
    assert ask(ID, both, AT_LOADING + S).measured == 2.0


def test_unstated_limits_are_unknown_and_no_need_of_heat_is_a_pass() -> None:
    for missing in ("low_c", "high_c", "damage_c"):
        assert ask(ID, measured(8.0, loads=[load(**{missing: None})]), AT_LOADING).outcome is Outcome.UNKNOWN
    assert ask(ID, measured(80.0, loads=[])).outcome is Outcome.PASS
    assert ask(ID, measured(80.0, NOW, loads=[load(no_heat_needed=True)])).outcome is Outcome.PASS
