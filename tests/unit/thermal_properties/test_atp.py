"""ATP: edges of the classes, dates and refusals. Facts from the agreement are checked in tests/published."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermal.atp import (
    HEATED_CLASSES,
    Insulation,
    UnknownClass,
    heat_loss_w,
    heated_class_for,
    heated_class_of,
    insulation_class,
    k_value,
    mean_surface,
    reserve_ratio,
)
from thermal.certificate import Certificate, aged_k, certificate_ends_on, highest_yearly_growth
from thermal.errors import Missing, OutOfRange


@given(st.floats(1.0, 500.0), st.floats(1.0, 1.5))
def test_the_mean_surface_lies_between_inside_and_outside(inside, ratio):
    assert inside <= mean_surface(inside, inside * ratio) * (1 + 1e-12)
    assert mean_surface(inside, inside * ratio) <= inside * ratio * (1 + 1e-12)


def test_an_outside_smaller_than_the_inside_is_refused():
    with pytest.raises(OutOfRange) as caught:
        mean_surface(120.0, 119.0)
    assert caught.value.field == "outside_m2"


@given(st.floats(0.1, 1.0), st.floats(50.0, 200.0), st.floats(-40.0, 0.0))
def test_the_k_value_of_its_own_loss_is_the_k_value(k, surface, outside):
    loss = heat_loss_w(k_w_m2k=k, surface_m2=surface, outside_c=outside)
    assert k_value(heat_w=loss, surface_m2=surface, difference_k=12.0 - outside) == pytest.approx(k)


def test_the_wall_decides_only_for_a_wide_and_good_body():
    assert insulation_class(0.40, width_m=2.50) is Insulation.HEAVY
    assert insulation_class(0.60, width_m=2.60) is Insulation.NORMAL
    assert insulation_class(0.40, width_m=2.60, wall_mm=45.0) is Insulation.HEAVY
    with pytest.raises(Missing) as caught:
        insulation_class(0.40, width_m=2.51)
    assert caught.value.field == "wall_mm"


def test_a_class_is_chosen_by_the_first_that_reaches_far_enough():
    assert [heated_class_for(c).letter for c in (5.0, -10.0, -10.1, -20.0, -30.0, -40.0)] == list("AABBCD")


def test_colder_than_every_class_is_refused_not_rounded():
    with pytest.raises(UnknownClass) as caught:
        heated_class_for(-40.1)
    assert caught.value.code == "unknown-heated-class"


def test_an_unknown_letter_is_refused():
    with pytest.raises(UnknownClass):
        heated_class_of("E")
    assert heated_class_of("C") is HEATED_CLASSES["C"]


def test_a_reserve_of_exactly_the_factor_is_enough():
    assert reserve_ratio(1.35 * 1664.0, loss_w=1664.0) == pytest.approx(1.0)
    assert reserve_ratio(2000.0, loss_w=1000.0, factor=1.0) == 2.0


@given(st.floats(0.0, 12.0), st.floats(0.0, 0.0477))
def test_a_body_never_improves_with_age(years, growth):
    assert aged_k(0.40, years=years, yearly_growth=growth) >= 0.40


def test_ageing_faster_than_any_tested_body_is_refused():
    with pytest.raises(OutOfRange) as caught:
        aged_k(0.40, years=1.0, yearly_growth=highest_yearly_growth() + 1e-6)
    assert caught.value.field == "yearly_growth"


def test_a_certificate_ends_on_the_same_day_and_never_in_the_next_month():
    assert certificate_ends_on(date(2026, 11, 25), kind=Certificate.EXAMINED) == date(2029, 11, 25)
    assert certificate_ends_on(date(2024, 2, 29), kind=Certificate.TYPE_APPROVED) == date(2030, 2, 28)
    assert certificate_ends_on(date(2020, 2, 29), kind=Certificate.EXAMINED) == date(2023, 2, 28)
