"""When a temperature left its range: first reading outside, first inside again, and what silence does to it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.trip_records.excursions import excursions

STEP_S = 300.0


def found(values: list[float], *, low: float | None = 4.0, high: float | None = 10.0, at: list[float] | None = None):
    at_s = STEP_S * np.arange(len(values)) if at is None else np.array(at)
    return excursions(at_s, np.array(values), low_c=low, high_c=high, longer_s=1800.0)


def test_a_stay_runs_from_the_first_reading_outside_to_the_first_inside_again() -> None:
    (one,) = found([5, 3.5, 2.0, 3.9, 4.0, 6])
    assert (one.side, one.limit_c, one.from_s, one.until_s) == ("below", 4.0, 300.0, 1200.0)
    assert (one.extreme_c, one.extreme_s, one.returned) == (2.0, 600.0, True)
    assert one.length_s == 900.0


def test_a_value_on_the_limit_is_inside() -> None:
    assert found([4.0, 10.0]) == []


def test_both_sides_are_found_in_order_of_time() -> None:
    assert [one.side for one in found([12, 5, 3, 5, 11, 5])] == ["above", "below", "above"]


def test_readings_that_end_outside_leave_the_stay_open() -> None:
    (one,) = found([5, 3, 2])
    assert (one.until_s, one.returned) == (600.0, False)


def test_a_silence_ends_a_stay_that_nobody_saw_end() -> None:
    first, second = found([5, 3, 3, 5], at=[0, 300, 9000, 9300])
    assert (first.until_s, first.returned) == (300.0, False)
    assert (second.from_s, second.until_s, second.returned) == (9000.0, 9300.0, True)


def test_no_limit_and_no_reading_make_no_excursion() -> None:
    assert found([-20, 40], low=None, high=None) == []
    assert found([]) == []


@given(st.lists(st.floats(-30, 40), min_size=1, max_size=60))
def test_every_reading_outside_is_in_exactly_one_stay(values: list[float]) -> None:
    stays = found(values)
    for i, value in enumerate(values):
        at = STEP_S * i
        inside = [
            one for one in stays if one.from_s <= at and (at < one.until_s or (not one.returned and at <= one.until_s))
        ]
        assert len(inside) == (1 if value < 4.0 or value > 10.0 else 0)
    for one in stays:
        assert (one.extreme_c < 4.0) == (one.side == "below")
        assert one.length_s >= 0


def test_the_extreme_is_a_reading_of_its_stay() -> None:
    (one,) = found([5, 11, 14, 12, 9])
    assert one.extreme_c == pytest.approx(14.0)
