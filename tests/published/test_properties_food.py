"""Food properties against ASHRAE's table, the NZIFST appendix and CoolProp."""

import pytest
from CoolProp.CoolProp import PropsSI

from thermal.food import (
    freezing_c_of_solution,
    heat_capacity_for_cooling,
    heat_capacity_for_warming,
    heat_capacity_frozen,
    latent_heat,
    nzifst_above,
    nzifst_below,
    nzifst_latent,
)

# ASHRAE Refrigeration 2006 ch. 9 table 3, copy at pdfslide.us, read:
# water %, cp above freezing kJ/kgK, latent heat kJ/kg.
ASHRAE = {
    "asparagus": (92.40, 4.03, 309),
    "beans, snap": (90.27, 3.99, 302),
    "broccoli": (90.69, 4.01, 303),
    "cabbage": (92.15, 4.02, 308),
    "carrots": (87.79, 3.92, 293),
    "cauliflower": (91.91, 4.02, 307),
    "celery": (94.64, 4.07, 316),
    "corn, sweet": (75.96, 3.62, 254),
    "cucumbers": (96.01, 4.09, 321),
    "eggplant": (92.03, 4.02, 307),
    "garlic": (58.58, 3.17, 196),
    "lettuce, iceberg": (95.89, 4.09, 320),
    "brussels sprouts": (86.00, 3.90, 287),
    "leeks": (83.00, 3.77, 277),
}

# NZIFST, Unit Operations in Food Processing, appendix 7, read: water %, cp above, cp below, latent heat.
NZIFST = {
    "apples": (84, 3.60, 1.88, 280),
    "bananas": (75, 3.35, 1.76, 255),
    "peaches": (87, 3.78, 1.93, 289),
    "watermelons": (92, 4.06, 2.01, 306),
    "cabbage": (92, 3.93, 1.97, 306),
    "carrots": (88, 3.60, 1.88, 293),
    "corn": (76, 3.35, 1.80, 251),
    "beef": (75, 3.22, 1.67, 255),
    "milk": (87.5, 3.90, 2.05, 289),
}


@pytest.mark.parametrize("item", ASHRAE)
def test_latent_heat_is_ashraes_column(item):
    water, _cp, latent = ASHRAE[item]
    assert latent_heat(water / 100.0) / 1000.0 == pytest.approx(latent, abs=0.5)


@pytest.mark.parametrize("item", ASHRAE)
def test_the_warming_side_is_within_one_percent_of_ashrae(item):
    water, cp, _latent = ASHRAE[item]
    assert heat_capacity_for_warming(water / 100.0) / 1000.0 == pytest.approx(cp, rel=0.01)


@pytest.mark.parametrize("item", ASHRAE)
def test_the_cooling_side_is_below_ashrae_and_so_freezes_sooner(item):
    # Siebel lies -0.8 % (cucumber) to -11.6 % (garlic) from the table: computed from the rows read.
    water, cp, _latent = ASHRAE[item]
    ratio = heat_capacity_for_cooling(water / 100.0) / 1000.0 / cp
    assert 0.88 < ratio < 1.0


@pytest.mark.parametrize(("item", "low_by"), [("cucumbers", 0.008), ("carrots", 0.035), ("corn, sweet", 0.065)])
def test_siebels_distance_from_ashrae_is_the_one_known(item, low_by):
    water, cp, _latent = ASHRAE[item]
    assert 1.0 - heat_capacity_for_cooling(water / 100.0) / 1000.0 / cp == pytest.approx(low_by, abs=0.002)


def test_siebel_has_the_constants_of_1892():
    # As coded in gbingol/scisuit_pypkg, read.
    assert heat_capacity_for_cooling(1.0) == pytest.approx(837.36 + 3349.0)
    assert heat_capacity_frozen(1.0) == pytest.approx(837.36 + 1256.0)


@pytest.mark.parametrize("item", NZIFST)
def test_the_nzifst_rule_is_as_rough_as_it_says(item):
    # Appendix 7 calls its own rule "a considerable over-simplification".
    water, above, below, latent = NZIFST[item]
    assert nzifst_above(water / 100.0) / 1000.0 == pytest.approx(above, rel=0.055)
    assert nzifst_below(water / 100.0) / 1000.0 == pytest.approx(below, rel=0.08)
    assert nzifst_latent(water / 100.0) / 1000.0 == pytest.approx(latent, rel=0.03)


def test_the_nzifst_rule_gives_the_printed_banana():
    # Appendix 7, read: bananas, 75 % water, 3.35 kJ/kgK.
    assert nzifst_above(0.75) == pytest.approx(3352.5)


@pytest.mark.parametrize("ethanol_mass_pct", [2.0, 4.0, 6.0, 8.0, 9.7])
def test_drinks_freeze_where_coolprop_freezes_ethanol_and_water(ethanol_mass_pct):
    # CoolProp 8.0.0 INCOMP::MEA, computed.
    library = PropsSI("T_freeze", "T", 283.15, "P", 101_325, f"INCOMP::MEA-{ethanol_mass_pct}%") - 273.15
    ours = freezing_c_of_solution(ethanol_mass_pct / 100.0, solute_g_mol=46.07)
    assert ours == pytest.approx(library, abs=0.2)


@pytest.mark.parametrize("glycol_mass_pct", [5.0, 10.0, 15.0])
def test_a_weak_glycol_mix_freezes_where_coolprop_says(glycol_mass_pct):
    # CoolProp 8.0.0 INCOMP::MEG, computed; ethylene glycol 62.07 g/mol.
    library = PropsSI("T_freeze", "T", 283.15, "P", 101_325, f"INCOMP::MEG-{glycol_mass_pct}%") - 273.15
    assert freezing_c_of_solution(glycol_mass_pct / 100.0, solute_g_mol=62.07) == pytest.approx(library, abs=0.4)


def test_one_mole_per_kilogram_of_water_lowers_the_freezing_point_by_the_cryoscopic_constant():
    # 1.86 K kg/mol for water, any chemistry table; from memory, and confirmed by CoolProp in the tests above.
    solute = 0.1 * 0.18 / (1.0 + 0.1 * 0.18)  # 0.1 mol of 180 g/mol in 1 kg of water
    assert freezing_c_of_solution(solute, solute_g_mol=180.0) == pytest.approx(-0.186, abs=0.001)


def test_freezing_a_whole_load_takes_weeks_although_its_edge_freezes_in_hours():
    # 18 t, 84 % water, UA 70 W/K, 20 K: 41.75 days, arithmetic. A lumped time to freeze is not safe for the
    # edge.
    assert latent_heat(0.84) * 18_000.0 / (70.0 * 20.0) / 86_400.0 == pytest.approx(41.75, abs=0.01)
