"""The gate every number passes: a finite number in its range, or an error that names it."""

import numpy as np
import pytest

from thermal.errors import Missing, OutOfRange, ThermalError
from thermal.ranges import require


def test_a_good_number_comes_back_as_a_plain_float():
    for value in (3, 3.0, np.float64(3.0), np.float32(3.0), np.int64(3), np.array(3.0)):
        result = require("x", value, 0.0, 3.0)
        assert result == 3.0
        assert type(result) is float


def test_a_good_array_comes_back_as_float64_of_the_same_shape():
    result = require("x", np.arange(6).reshape(2, 3), 0.0, 5.0)
    assert result.dtype == np.float64
    assert result.shape == (2, 3)


@pytest.mark.parametrize(
    "value",
    [
        float("nan"),
        float("inf"),
        -float("inf"),
        -0.001,
        5.001,
        10**400,
        True,
        False,
        np.True_,
        "3",
        b"3",
        3 + 0j,
        {},
        [[1, 2], [3]],
        np.array([1.0, np.nan]),
        np.array([1.0, np.inf]),
        np.array([1.0, 6.0]),
        np.array([True, False]),
        np.array(["1"]),
        np.array([None]),
    ],
)
def test_anything_else_raises_and_names_the_field(value):
    with pytest.raises(OutOfRange) as caught:
        require("fuel_l", value, 0.0, 5.0)
    assert caught.value.field == "fuel_l"
    assert caught.value.limit == (0.0, 5.0)
    assert caught.value.code == "out-of-range"
    assert "fuel_l" in str(caught.value)


def test_infinity_is_refused_even_inside_infinite_limits():
    with pytest.raises(OutOfRange):
        require("x", float("inf"), -float("inf"), float("inf"))


def test_nothing_is_missing_rather_than_out_of_range():
    with pytest.raises(Missing) as caught:
        require("fuel_l", None, 0.0, 5.0)
    assert (caught.value.code, caught.value.field) == ("missing-input", "fuel_l")


def test_an_array_names_its_first_offender():
    with pytest.raises(OutOfRange) as caught:
        require("x", np.array([1.0, 7.0, 9.0]), 0.0, 5.0)
    assert caught.value.value == 7.0


def test_every_error_of_the_physics_is_a_value_error():
    assert issubclass(ThermalError, ValueError)
    assert issubclass(OutOfRange, ThermalError)
    assert issubclass(Missing, ThermalError)
