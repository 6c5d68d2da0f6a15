"""Coolant: shape and limits of the freezing curve. Values are checked in tests/published."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermal.coolant import (
    PURE_GLYCOL_FREEZES_C,
    STRONGEST_VOL_PCT,
    coolant_margin_k,
    freezing_c_from_mass,
    freezing_c_from_volume,
    mass_from_volume,
    volume_from_freezing_c,
    volume_from_mass,
)

SHARE = st.floats(0.0, 100.0)


def test_more_glycol_freezes_lower_up_to_the_strongest_mix():
    shares = np.linspace(0.0, STRONGEST_VOL_PCT, 601)
    assert np.all(np.diff(freezing_c_from_volume(shares)) < 0.0)


def test_more_than_the_strongest_mix_is_never_colder():
    shares = np.linspace(STRONGEST_VOL_PCT, 100.0, 401)
    freezes = freezing_c_from_volume(shares)
    assert np.all(np.diff(freezes) > 0.0)
    assert freezes[0] == -55.0
    assert freezes[-1] == PURE_GLYCOL_FREEZES_C


@given(SHARE)
def test_volume_and_mass_share_are_each_others_inverse(share):
    assert volume_from_mass(mass_from_volume(share)) == pytest.approx(share, abs=1e-9)


@given(st.floats(0.1, 99.9))
def test_the_mass_share_is_the_larger_one_because_glycol_is_denser(share):
    assert mass_from_volume(share) > share


@given(SHARE)
def test_both_bases_give_one_freezing_point(share):
    assert freezing_c_from_mass(mass_from_volume(share)) == pytest.approx(freezing_c_from_volume(share), abs=1e-6)


@given(st.floats(-55.0, 0.0))
def test_a_refractometer_scale_reads_back_its_own_freezing_point(freezes):
    share = volume_from_freezing_c(freezes)
    assert 0.0 <= share <= STRONGEST_VOL_PCT
    assert freezing_c_from_volume(share) == pytest.approx(freezes, abs=1e-9)


@given(SHARE, st.floats(-60.0, 20.0))
def test_the_margin_is_negative_exactly_when_the_coolant_would_freeze(share, coldest):
    assert (coolant_margin_k(share, coldest_c=coldest) < 0.0) == (coldest < freezing_c_from_volume(share))
