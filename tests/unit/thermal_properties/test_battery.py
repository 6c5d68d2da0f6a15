"""Battery: order, limits and refusals. Values are checked in tests/published."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermal.battery import (
    LEAST_REST_H,
    NotAtRest,
    charge_from_gravity,
    cranking_factor,
    freezing_c_from_gravity,
    rested_battery,
)
from thermal.errors import Missing, OutOfRange

REST = {"nominal_v": 12, "battery_c": 10.0, "rest_h": 8.0, "engine_on": False}


@given(st.floats(11.3, 12.8), st.floats(11.3, 12.8))
def test_a_higher_rest_voltage_never_means_less_charge_or_a_warmer_freezing_point(first, second):
    low, high = (rested_battery(volts, **REST) for volts in sorted((first, second)))
    assert high.charge >= low.charge
    assert high.freezes_c <= low.freezes_c


@given(st.floats(11.3, 12.8), st.floats(-30.0, 40.0))
def test_24_volts_are_judged_like_two_12_volt_batteries(volts, battery_c):
    one = rested_battery(volts, **{**REST, "battery_c": battery_c})
    two = rested_battery(2.0 * volts, **{**REST, "battery_c": battery_c, "nominal_v": 24})
    assert two.gravity == pytest.approx(one.gravity)
    assert two.charge == pytest.approx(one.charge)
    assert two.freezes_c == pytest.approx(one.freezes_c)


@given(st.floats(11.3, 12.8), st.floats(-40.0, 60.0))
def test_the_temperature_correction_never_promises_a_colder_freezing_point(volts, battery_c):
    state = rested_battery(volts, **{**REST, "battery_c": battery_c})
    uncorrected = volts / 6 - 0.84
    assert state.freezes_c >= freezing_c_from_gravity(uncorrected) - 1e-9


def test_a_cold_battery_holds_a_little_more_charge_than_its_voltage_says():
    warm, cold = (rested_battery(12.4, **{**REST, "battery_c": c}) for c in (26.6667, -20.0))
    assert cold.charge > warm.charge
    assert cold.gravity - warm.gravity == pytest.approx(0.0002 * 46.6667, rel=1e-6)


@pytest.mark.parametrize("change", [{"engine_on": True}, {"engine_on": None}, {"rest_h": 1.99}, {"rest_h": 0.0}])
def test_a_voltage_that_is_not_at_rest_says_nothing(change):
    with pytest.raises(NotAtRest) as caught:
        rested_battery(12.6, **{**REST, **change})
    assert caught.value.field in change
    assert caught.value.code == "battery-not-at-rest"


def test_exactly_the_least_rest_is_enough():
    assert rested_battery(12.72, **{**REST, "rest_h": LEAST_REST_H}).charge == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(("volts", "nominal"), [(10.9, 12), (13.3, 12), (12.6, 24), (25.2, 12), (21.9, 24)])
def test_a_voltage_no_resting_battery_has_is_refused(volts, nominal):
    with pytest.raises(OutOfRange) as caught:
        rested_battery(volts, **{**REST, "nominal_v": nominal})
    assert caught.value.field == "rest_v"


@pytest.mark.parametrize("nominal", [6, 36, 12.5, True, "12"])
def test_a_nominal_voltage_other_than_12_or_24_is_refused(nominal):
    with pytest.raises(OutOfRange) as caught:
        rested_battery(12.6, **{**REST, "nominal_v": nominal})
    assert caught.value.field == "nominal_v"


def test_a_missing_nominal_voltage_is_missing():
    with pytest.raises(Missing):
        rested_battery(12.6, **{**REST, "nominal_v": None})


def test_a_fuller_battery_freezes_later_over_the_whole_table():
    gravity = np.linspace(1.0, 1.28, 281)
    assert np.all(np.diff(freezing_c_from_gravity(gravity)) < 0.0)
    assert np.all(np.diff(charge_from_gravity(gravity)) >= 0.0)
    assert freezing_c_from_gravity(1.33) == freezing_c_from_gravity(1.28)


def test_cranking_strength_falls_with_cold_to_zero_and_never_exceeds_full():
    temperatures = np.linspace(-60.0, 60.0, 1201)
    factor = cranking_factor(temperatures)
    assert np.all(np.diff(factor) >= 0.0)
    assert factor.min() == 0.0
    assert factor.max() == 1.0
    assert np.all(factor[temperatures < -17.8] < 0.40)
