"""fleet.unit_on: on, off, left off after an inspection, and doors that are open while the heater runs."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from fleet.readiness.findings import Outcome
from fleet.readiness.registry import at_preheat
from tests.unit.facts import MIN, H, S, ask, facts, known, load, under_way

ID = "fleet.unit_on"
DUE = at_preheat(facts())
"""The unit has to be on from here: three hours before loading."""


def off(*, since: datetime, reported: datetime, **more: Any) -> Any:
    """A unit that was last on at *since* and last reported, still off, at *reported*."""
    said = {"fleet.last_on": known(True, since)} | more.pop("said", {})
    values = {"unit_on": known(False, reported), "heater_running": known(False, reported)} | more.pop("values", {})
    return facts(values=values, said=said, **more)


def test_on_is_a_pass_and_never_reported_is_unknown() -> None:
    assert ask(ID, facts()).outcome is Outcome.PASS
    assert ask(ID, facts(values={"unit_on": None})).outcome is Outcome.UNKNOWN


def test_no_heat_needed_is_a_pass_even_when_off() -> None:
    for loads in ([], [load(no_heat_needed=True)]):
        assert ask(ID, off(since=DUE, reported=DUE, loads=loads), DUE + 5 * H).outcome is Outcome.PASS


def test_off_before_the_preheat_is_pending_until_exactly_then() -> None:
    resting = off(since=DUE - 9 * H, reported=DUE - H)
    early = ask(ID, resting, DUE - S)
    assert (early.outcome, early.due_at, early.changes_at) == (Outcome.PENDING, DUE, DUE)
    assert ask(ID, resting, DUE).outcome is Outcome.BLOCK


@pytest.mark.parametrize(
    ("off_for", "outcome"), [(MIN, "concern"), (45 * MIN - S, "concern"), (45 * MIN, "block"), (9 * H, "block")]
)
def test_off_with_doors_shut_blocks_after_forty_five_minutes(off_for: timedelta, outcome: str) -> None:
    now = DUE + 2 * H
    finding = ask(ID, off(since=now - off_for, reported=now), now)
    assert finding.outcome == outcome
    assert finding.measured == pytest.approx(off_for / MIN, abs=0.06)
    assert finding.remedy is not None
    assert finding.remedy.then is Outcome.PASS
    assert ask(ID, facts(), now).outcome is finding.remedy.then


def test_the_moment_a_concern_becomes_a_block_is_announced() -> None:
    now = DUE + 2 * H
    unit = off(since=now - 20 * MIN, reported=now)
    finding = ask(ID, unit, now)
    assert finding.changes_at == now + 25 * MIN
    assert ask(ID, unit, finding.changes_at - S).outcome is Outcome.CONCERN
    assert ask(ID, unit, finding.changes_at).outcome is Outcome.BLOCK


def test_repeated_reports_of_off_do_not_start_the_clock_again() -> None:
    now = DUE + 2 * H
    assert ask(ID, off(since=now - H, reported=now), now).outcome is Outcome.BLOCK


def test_a_unit_that_was_never_reported_on_is_off_since_its_first_report() -> None:
    """It once counted from the newest report, so that a unit that kept reporting `off` was never blocked."""
    now = DUE + 2 * H
    unit = facts(values={"unit_on": known(False, now)}, said={"fleet.first_off": known(True, now - H)})
    assert ask(ID, unit, now).outcome is Outcome.BLOCK


@pytest.mark.parametrize(
    ("signed_ago", "left_off"), [(14 * MIN, False), (15 * MIN - S, False), (15 * MIN, True), (40 * MIN, True)]
)
def test_a_unit_left_off_after_an_inspection_is_said_so_fifteen_minutes_later(
    signed_ago: timedelta, left_off: bool
) -> None:
    now = DUE + 2 * H
    unit = off(since=now - 40 * MIN, reported=now, said={"inspections.pre_trip": known({}, now - signed_ago)})
    finding = ask(ID, unit, now)
    assert finding.outcome is Outcome.CONCERN
    assert ("left off?" in finding.message) == left_off


def test_an_inspection_long_before_the_unit_went_off_explains_nothing() -> None:
    now = DUE + 2 * H
    unit = off(since=now - 20 * MIN, reported=now, said={"inspections.pre_trip": known({}, now - H)})
    assert "left off?" not in ask(ID, unit, now).message


@pytest.mark.parametrize(("begun_ago", "outcome"), [(MIN, "pass"), (2 * H - S, "pass"), (2 * H, "block")])
def test_an_inspection_in_progress_explains_off_for_two_hours(begun_ago: timedelta, outcome: str) -> None:
    now = DUE + 2 * H
    begun = now - begun_ago
    unit = off(since=now - 3 * H, reported=now, said={"inspections.in_progress": known(True, begun)})
    finding = ask(ID, unit, now)
    assert finding.outcome == outcome
    if outcome == "pass":
        assert finding.changes_at == begun + 2 * H
        assert ask(ID, unit, finding.changes_at).outcome is Outcome.BLOCK


def test_an_inspection_that_ended_explains_nothing() -> None:
    now = DUE + 2 * H
    unit = off(since=now - 3 * H, reported=now, said={"inspections.in_progress": known(False, now)})
    assert ask(ID, unit, now).outcome is Outcome.BLOCK


@pytest.mark.parametrize(
    ("door_open", "running", "outcome"),
    [(True, True, "concern"), (True, False, "pass"), (False, True, "pass"), (True, None, "pass"), (None, True, "pass")],
)
def test_heating_with_open_doors_is_a_concern(door_open: bool | None, running: bool | None, outcome: str) -> None:
    finding = ask(ID, facts(values={"door_open": door_open, "heater_running": running}))
    assert finding.outcome == outcome


def test_off_with_open_doors_is_as_it_should_be() -> None:
    now = DUE + 2 * H
    assert ask(ID, off(since=now - 5 * H, reported=now, values={"door_open": True}), now).outcome is Outcome.PASS


def test_under_way_a_unit_that_is_off_blocks_without_waiting_for_a_due_time() -> None:
    now = DUE - 5 * H
    unit = under_way(
        values={"unit_on": known(False, now)}, said={"fleet.last_on": known(True, now - H)}, departed_at=now - 2 * H
    )
    assert ask(ID, unit, now).outcome is Outcome.BLOCK
