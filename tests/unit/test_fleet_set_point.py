"""fleet.set_point: the number the unit reports, against the load's limits, the trip's wish and the heater's swing."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from fleet.readiness.findings import Outcome
from tests.unit.facts import MIN, NOW, POTATO, ask, facts, known, load, under_way

ID = "fleet.set_point"
# The load asks for 7.0 within 4 to 15; hysteresis 1.0 and guard 0.5 put the guard line at 5.5.
TABLE = {
    "what the trip asks for": (7.0, 7.0, "pass"),
    "within the tolerance of 0.3 K": (7.3, 7.0, "pass"),
    "just over the tolerance": (7.31, 7.0, "concern"),
    "just over it, colder": (6.69, 7.0, "concern"),
    "at the upper limit": (15.0, 15.0, "pass"),
    "over the upper limit": (15.01, 7.0, "block"),
    "at the lower limit": (4.0, 4.0, "concern"),
    "under the lower limit": (3.99, 7.0, "block"),
    "at the guard line": (5.5, 5.5, "concern"),
    "just above the guard line": (5.51, 5.5, "pass"),
}


@pytest.mark.parametrize(("reported", "wanted", "outcome"), TABLE.values(), ids=TABLE)
def test_the_reported_set_point_is_judged_at_its_lines(reported: float, wanted: float, outcome: str) -> None:
    finding = ask(ID, facts(loads=[load(set_point_c=wanted)], values={"set_point_c": reported}))
    assert finding.outcome == outcome
    assert finding.measured == reported


@pytest.mark.parametrize(
    ("wanted", "then"),
    [(7.0, "pass"), (5.51, "pass"), (5.5, "concern"), (4.0, "concern"), (3.0, "block"), (15.5, "block")],
)
def test_the_remedy_leads_where_it_says(wanted: float, then: str) -> None:
    loads = [load(set_point_c=wanted)]
    finding = ask(ID, facts(loads=loads, values={"set_point_c": 10.0}))
    assert finding.remedy is not None
    assert (finding.remedy.amount, finding.remedy.then) == (wanted, then)
    assert ask(ID, facts(loads=loads, values={"set_point_c": wanted})).outcome == then


@pytest.mark.parametrize(("low_c", "high_c"), [(4.0, 15.0), (4.03, 15.0), (4.0, 5.55)])
def test_the_warmer_set_point_proposed_near_the_limit_leads_where_it_says(low_c: float, high_c: float) -> None:
    near = load(low_c=low_c, high_c=high_c, set_point_c=5.0)
    remedy = ask(ID, facts(loads=[near], values={"set_point_c": 5.0})).remedy
    assert remedy is not None
    assert remedy.amount is not None
    assert remedy.amount > low_c + 1.5
    followed = facts(loads=[replace(near, set_point_c=remedy.amount)], values={"set_point_c": remedy.amount})
    assert ask(ID, followed).outcome == remedy.then


def test_a_model_that_states_its_swing_moves_the_guard_line() -> None:
    wide = facts(loads=[load(set_point_c=6.0)], values={"set_point_c": 6.0}, design={"hysteresis_k": 2.0})
    unstated = facts(loads=[load(set_point_c=6.0)], values={"set_point_c": 6.0}, design={"hysteresis_k": None})
    assert ask(ID, wide).outcome == "concern"
    assert ask(ID, unstated).outcome == "pass"


@pytest.mark.parametrize(
    ("reported", "wanted", "hint"),
    [
        (44.6, 7.0, "7 °C is 45 °F"),
        (44.0, 7.0, "7 °C is 44 °F"),
        (43.5, 7.0, ""),
        (-13.9, 7.0, "-13.9 °C is 7 °F"),
        (12.8, 55.0, "12.8 °C is 55 °F"),
        (20.0, 7.0, ""),
    ],
)
def test_a_number_from_the_other_temperature_scale_is_named(reported: float, wanted: float, hint: str) -> None:
    """7 °C = 44.6 °F and 55 °F = 12.8 °C by F = 9/5 C + 32 (the scales' definition)."""
    message = ask(ID, facts(loads=[load(set_point_c=wanted)], values={"set_point_c": reported})).message
    assert ("scales mixed up" in message) == bool(hint)
    assert hint in message


@pytest.mark.parametrize(
    ("reported_at", "outcome"),
    [(NOW - MIN - timedelta(seconds=1), "concern"), (NOW - MIN, "pass"), (NOW, "pass")],
)
def test_a_set_point_changed_since_the_unit_last_reported_is_not_confirmed(reported_at, outcome: str) -> None:
    changed = facts(set_point_changed_at=NOW - MIN, values={"set_point_c": known(7.0, reported_at)})
    finding = ask(ID, changed)
    assert finding.outcome == outcome
    assert ("not confirmed" in finding.message) == (outcome == "concern")


def test_without_a_report_or_a_stated_limit_nothing_is_assumed() -> None:
    assert ask(ID, facts(values={"set_point_c": None})).outcome is Outcome.UNKNOWN
    for missing in ("low_c", "high_c", "set_point_c"):
        assert ask(ID, facts(loads=[load(**{missing: None})])).outcome is Outcome.UNKNOWN


def test_goods_that_need_no_heat_and_an_empty_box_need_no_set_point() -> None:
    for loads in ([], [load(no_heat_needed=True, low_c=None)]):
        finding = ask(ID, facts(loads=loads, values={"set_point_c": None}))
        assert finding.outcome is Outcome.PASS
        assert "Not needed" in finding.message


def test_a_mixed_load_is_judged_by_the_narrowest_common_range() -> None:
    mixed = [POTATO, load(commodity="banana", low_c=13.0, high_c=15.0, set_point_c=None)]
    assert ask(ID, facts(loads=mixed, values={"set_point_c": 12.9})).outcome == "block"
    assert ask(ID, facts(loads=mixed, values={"set_point_c": 15.1})).outcome == "block"


def test_under_way_the_set_point_is_watched_too() -> None:
    assert ask(ID, under_way(values={"set_point_c": 2.0})).outcome is Outcome.BLOCK
