"""Diesel: the three-step rule and the energy balance. Class limits are checked in tests/published."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermal.diesel import (
    EN590,
    Flow,
    UnknownFuelGrade,
    flow_at,
    fuel_grade,
    heat_kwh_from_litres,
    litres_for_heat_kwh,
)
from thermal.errors import OutOfRange

ORDER = [Flow.GEL, Flow.MARGINAL, Flow.SUFFICIENT]


@pytest.mark.parametrize("grade", EN590.values(), ids=EN590.keys())
@given(st.floats(-60.0, 30.0), st.floats(-60.0, 30.0))
def test_colder_fuel_never_flows_better(grade, first, second):
    low, high = sorted((first, second))
    assert ORDER.index(flow_at(low, grade=grade)) <= ORDER.index(flow_at(high, grade=grade))


def test_the_rule_turns_at_the_cloud_point_and_at_the_margin_above_the_cfpp():
    grade = fuel_grade("en590-f")
    steps = {
        -6.9: Flow.SUFFICIENT,
        -7.0: Flow.SUFFICIENT,
        -7.1: Flow.MARGINAL,
        -17.0: Flow.MARGINAL,
        -17.1: Flow.GEL,
    }
    assert {at: flow_at(at, grade=grade) for at in steps} == steps


def test_a_certified_cloud_point_replaces_the_assumed_one():
    grade = fuel_grade("en590-f")
    assert flow_at(-9.0, grade=grade) is Flow.MARGINAL
    assert flow_at(-9.0, grade=grade, cloud_c=-10.0) is Flow.SUFFICIENT


def test_a_cloud_point_below_the_cfpp_is_refused():
    with pytest.raises(OutOfRange) as caught:
        flow_at(0.0, grade=fuel_grade("en590-b"), cloud_c=-1.0)
    assert caught.value.field == "cloud_c"


def test_a_certified_cloud_point_never_rescues_fuel_below_the_margin():
    assert flow_at(-18.0, grade=fuel_grade("en590-f"), cloud_c=-20.0) is Flow.GEL


@given(st.floats(-60.0, 40.0))
def test_unknown_fuel_is_never_sufficient_and_gels_below_minus_ten(fuel_c):
    assert flow_at(fuel_c, grade=fuel_grade("unknown")) is (Flow.GEL if fuel_c < -10.0 else Flow.MARGINAL)


def test_a_grade_that_is_not_in_the_table_is_refused_by_name():
    with pytest.raises(UnknownFuelGrade) as caught:
        fuel_grade("winter")
    assert (caught.value.field, caught.value.value) == ("fuel_grade", "winter")


@given(st.floats(0.0, 1e4), st.floats(0.05, 1.0))
def test_litres_and_heat_are_each_others_inverse(heat, efficiency):
    litres = litres_for_heat_kwh(heat, efficiency=efficiency)
    assert heat_kwh_from_litres(litres, efficiency=efficiency) == pytest.approx(heat, rel=1e-12)
