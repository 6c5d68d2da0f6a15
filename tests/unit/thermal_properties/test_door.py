"""Door: signs, order, symmetry and the cap on one opening. Values are checked in tests/published."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermal.door import CP_AIR, air_density, door_conductance, door_flow, door_heat, opening_heat
from thermal.errors import OutOfRange

DOOR = {"width_m": 2.4, "height_m": 2.5}
TEMPERATURE = st.floats(-45.0, 40.0)
BOX = {"box_volume_m3": 85.0, "inside_c": 10.0, "outside_c": -20.0}


@given(TEMPERATURE)
def test_equal_temperatures_exchange_nothing(temp_c):
    assert door_flow(**DOOR, inside_c=temp_c, outside_c=temp_c) == 0.0
    assert door_heat(**DOOR, inside_c=temp_c, outside_c=temp_c) == 0.0
    assert door_conductance(**DOOR, inside_c=temp_c, outside_c=temp_c) == 0.0


@given(TEMPERATURE, TEMPERATURE)
def test_swapping_inside_and_outside_turns_the_heat_round(first, second):
    there = door_heat(**DOOR, inside_c=first, outside_c=second)
    assert door_heat(**DOOR, inside_c=second, outside_c=first) == pytest.approx(-there)
    assert there * (first - second) >= 0.0


@given(st.floats(-45.0, 0.0), st.floats(0.1, 20.0))
def test_a_colder_yard_takes_more(outside, colder_by):
    mild, cold = (door_heat(**DOOR, inside_c=10.0, outside_c=c) for c in (outside, outside - colder_by))
    assert cold > mild


def test_a_taller_door_loses_more_than_in_proportion_to_its_area():
    low, tall = (door_flow(width_m=2.0, height_m=h, inside_c=5.0, outside_c=-15.0) for h in (1.25, 2.5))
    assert tall / low == pytest.approx(2.0**1.5)


def test_curtain_and_flow_factor_scale_the_flow():
    full = door_flow(**DOOR, inside_c=5.0, outside_c=-15.0)
    held = door_flow(**DOOR, inside_c=5.0, outside_c=-15.0, flow_factor=0.8, effectiveness=0.93)
    assert held == pytest.approx(full * 0.8 * 0.07)


@given(st.floats(-40.0, 30.0), st.floats(0.1, 40.0), st.sampled_from([-1.0, 1.0]))
def test_conductance_times_difference_is_the_heat(outside, step, sign):
    inside = outside + sign * step
    conductance = door_conductance(**DOOR, inside_c=inside, outside_c=outside)
    assert conductance >= 0.0
    assert conductance * (inside - outside) == pytest.approx(door_heat(**DOOR, inside_c=inside, outside_c=outside))


def test_a_short_opening_costs_the_flow_and_a_long_one_the_air_of_the_box():
    heat_w = door_heat(**DOOR, inside_c=10.0, outside_c=-20.0)
    content_j = air_density(10.0) * 85.0 * CP_AIR * 30.0
    assert opening_heat(heat_w, open_s=5.0, **BOX) == pytest.approx(5.0 * heat_w)
    assert opening_heat(heat_w, open_s=3600.0, **BOX) == pytest.approx(content_j)


def test_what_walls_and_load_give_back_is_lost_too():
    heat_w = door_heat(**DOOR, inside_c=10.0, outside_c=-20.0)
    bare, regained = (opening_heat(heat_w, open_s=3600.0, **BOX, regained_w=w) for w in (0.0, 2000.0))
    assert regained - bare == pytest.approx(2000.0 * 3600.0)


@given(st.floats(0.0, 4000.0), st.floats(0.0, 4000.0))
def test_a_longer_opening_never_costs_less(first, second):
    short, long = (opening_heat(9e4, open_s=s, **BOX, regained_w=500.0) for s in sorted((first, second)))
    assert long >= short


def test_heat_against_the_temperature_difference_is_refused():
    with pytest.raises(OutOfRange) as caught:
        opening_heat(-9e4, open_s=60.0, **BOX)
    assert caught.value.field == "heat_flow_w"


def test_thin_air_weighs_less():
    assert air_density(0.0, pressure_pa=80_000.0) == pytest.approx(air_density(0.0) * 80_000.0 / 101_325.0)
