"""Food: which fit is the low side, limits and order. Values are checked in tests/published."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermal.errors import OutOfRange
from thermal.food import (
    freezing_c_of_solution,
    heat_capacity_for_cooling,
    heat_capacity_for_warming,
    heat_capacity_frozen,
    latent_heat,
)

WATER = st.floats(0.0, 1.0)


@given(WATER)
def test_the_cooling_side_never_stores_more_heat_than_the_warming_side(water):
    assert heat_capacity_frozen(water) <= heat_capacity_for_cooling(water) < heat_capacity_for_warming(water)


@given(WATER, WATER)
def test_wetter_goods_store_more(first, second):
    dry, wet = sorted((first, second))
    for fit in (heat_capacity_for_cooling, heat_capacity_for_warming, heat_capacity_frozen, latent_heat):
        assert fit(wet) >= fit(dry)


def test_pure_water_freezes_at_zero():
    assert freezing_c_of_solution(0.0, solute_g_mol=46.07) == pytest.approx(0.0, abs=1e-9)


def test_more_solute_freezes_lower():
    assert np.all(np.diff(freezing_c_of_solution(np.linspace(0.0, 0.3, 61), solute_g_mol=180.2)) < 0.0)


def test_lighter_molecules_lower_the_freezing_point_more():
    assert freezing_c_of_solution(0.1, solute_g_mol=46.07) < freezing_c_of_solution(0.1, solute_g_mol=180.2)


def test_less_water_beside_the_same_solute_freezes_lower():
    diluted = freezing_c_of_solution(0.1, solute_g_mol=180.2)
    assert freezing_c_of_solution(0.1, solute_g_mol=180.2, water=0.8) < diluted


def test_shares_that_add_up_to_more_than_the_whole_are_refused():
    with pytest.raises(OutOfRange) as caught:
        freezing_c_of_solution(0.2, solute_g_mol=180.2, water=0.85)
    assert caught.value.field == "water"
