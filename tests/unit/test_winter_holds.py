"""Which holds the winter of tests/faults compares: those that still decide whether a trip may leave."""

from __future__ import annotations

from typing import Any

import pytest

from fleet.models import Hold, Phase
from tests.faults.winter.moments import holds_of


def said(phase: str, *states: str) -> dict[str, Any]:
    """An answer as far as its holds go."""
    return {"phase": phase, "holds": [{"state": state, "causes": ["fleet.unit_on"]} for state in states]}


@pytest.mark.parametrize(
    ("phase", "states"),
    [
        (Phase.PLANNED, [Hold.State.OPEN, Hold.State.RELEASED]),
        (Phase.UNDER_WAY, [Hold.State.OPEN]),
    ],
)
def test_a_release_counts_until_the_trip_has_left(phase: str, states: list[str]) -> None:
    answer = said(phase, Hold.State.OPEN, Hold.State.RELEASED)
    assert [hold["state"] for hold in holds_of(answer)] == states


def test_two_carriers_one_of_which_released_a_hold_before_the_trip_left_say_the_same() -> None:
    released, never_held = said(Phase.UNDER_WAY, Hold.State.RELEASED), said(Phase.UNDER_WAY)
    assert holds_of(released) == holds_of(never_held)
