"""Coolant against a handbook table, an ASTM requirement and CoolProp.

How each value is known stands beside it: read at the place named, computed with the library named, or common
practice without a source.
"""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from thermal.coolant import (
    STRONGEST_VOL_PCT,
    coolant_margin_k,
    freezing_c_from_mass,
    freezing_c_from_volume,
    mass_from_volume,
    volume_from_freezing_c,
)


def library_freezing_c(mass_pct, fluid):
    """Freezing point by CoolProp 8.0.0, a fit by mass, valid to 60 % (and from 10 % for AEG)."""
    return PropsSI("T_freeze", "T", 293.15, "P", 101_325, f"INCOMP::{fluid}-{mass_pct}%") - 273.15


@pytest.mark.parametrize(
    ("vol_pct", "freezes_c"), [(0, 0), (10, -3), (20, -8), (30, -16), (40, -25), (50, -37), (60, -55)]
)
def test_the_handbook_table_by_volume_is_met(vol_pct, freezes_c):
    # Engineering handbook page, scribd.com/document/671664902, read.
    assert freezing_c_from_volume(float(vol_pct)) == freezes_c
    assert volume_from_freezing_c(float(freezes_c)) == pytest.approx(vol_pct)


def test_the_half_and_half_mix_meets_what_astm_asks_for():
    # ASTM: a 50 % by volume mix freezes no higher than -34 °F, quoted at penray.com/99-023, read.
    assert freezing_c_from_volume(50.0) <= (-34.0 - 32.0) / 1.8 + 0.5
    # The library bounds it on the cold side: MEG -39.8, AEG -41.0 °C at 52.72 % by mass, computed.
    assert -42.0 <= freezing_c_from_volume(50.0) <= -36.0


def test_the_half_and_half_mix_of_the_trade_leaves_a_margin_at_minus_thirty_four():
    # "Mix it half and half, good to -34": common practice, no source.
    assert coolant_margin_k(50.0, coldest_c=-34.0) == 3.0


@pytest.mark.parametrize(("vol_pct", "mass_pct"), [(10, 11.03), (20, 21.80), (30, 32.34), (40, 42.64), (60, 62.59)])
def test_volume_becomes_mass_by_the_densities_at_20_degrees(vol_pct, mass_pct):
    # 1113.2 and 998.2 kg/m3, arithmetic on published densities.
    assert mass_from_volume(float(vol_pct)) == pytest.approx(mass_pct, abs=0.005)


def test_the_density_of_water_is_the_librarys():
    # CoolProp 8.0.0, computed: water at 20 °C.
    assert PropsSI("D", "T", 293.15, "P", 101_325, "Water") == pytest.approx(998.2, abs=0.05)


@pytest.mark.parametrize(("mass_pct", "meg_c"), [(30, -14.58), (40, -23.81), (50, -35.99), (60, -51.20)])
def test_the_library_by_mass_is_never_warmer_than_our_answer(mass_pct, meg_c):
    # CoolProp 8.0.0 MEG, computed; the pinned numbers guard the oracle itself.
    assert library_freezing_c(mass_pct, "MEG") == pytest.approx(meg_c, abs=0.01)
    assert freezing_c_from_mass(float(mass_pct)) >= meg_c


@pytest.mark.parametrize(("fluid", "weakest_vol_pct"), [("MEG", 0.5), ("AEG", 9.2)])
def test_the_warmer_of_table_and_library_governs_at_every_share(fluid, weakest_vol_pct):
    shares = np.arange(weakest_vol_pct, 57.3, 0.4)
    ours = freezing_c_from_volume(shares)
    library = np.array([library_freezing_c(mass, fluid) for mass in mass_from_volume(shares)])
    assert np.all(ours >= library)
    assert np.all(ours - library < 4.5)


def test_by_mass_or_by_volume_is_worth_a_degree_or_three():
    # The "50 % is -37 °C" rule matches AEG by mass (-37.11, CoolProp 8.0.0, computed) and the table by
    # volume.
    assert library_freezing_c(50, "AEG") == pytest.approx(-37.11, abs=0.01)
    assert 1.0 < freezing_c_from_mass(50.0) - freezing_c_from_volume(50.0) < 4.0


@pytest.mark.parametrize("vol_pct", [65.0, 70.0, 80.0, 90.0, 100.0])
def test_beyond_the_scope_of_the_standards_more_glycol_is_not_colder(vol_pct):
    # ASTM D6210 and D3306 end at 60 and 70 %, scribd 713690954 and 570238564, read. -13 °C at 100 % is from
    # memory.
    assert freezing_c_from_volume(vol_pct) > freezing_c_from_volume(STRONGEST_VOL_PCT)
