"""The commodity table against the tables, laws and guidance it was made from, in the units they print."""

import pytest
from CoolProp.CoolProp import PropsSI

from thermal import Load, govern
from thermal.commodities import ChillRule, HazardousLoad, Known, all_commodities, commodity
from thermal.goods import classify_goods

KJ_KG_PER_BTU_LB = 2.326
W_KG_PER_BTU_LB_H = 2326.0 / 3600.0

# ASHRAE ch. 9 table 3, copy at ns2.engineersedge.com, read: freezing °F, cp Btu/lb °F, latent heat Btu/lb.
PRINTED_IN_FAHRENHEIT = {
    "apple": (30.0, 0.91, 120),
    "apricot": (30.0, 0.92, 124),
    "banana": (30.6, 0.85, 107),
    "blueberry": (29.1, 0.91, 122),
    "cherry": (28.8, 0.89, 116),
    "cranberry": (30.4, 0.93, 124),
    "orange": (30.6, 0.91, 118),
    "peach": (30.4, 0.93, 126),
    "pear": (29.1, 0.91, 120),
    "raspberry": (30.9, 0.95, 124),
    "strawberry": (30.6, 0.96, 132),
}

# Same table, copy at pdfslide.us, read: freezing °C, cp kJ/kgK, latent heat kJ/kg.
PRINTED_IN_CELSIUS = {
    "asparagus": (-0.6, 4.03, 309),
    "snap-bean": (-0.7, 3.99, 302),
    "broccoli": (-0.6, 4.01, 303),
    "cabbage": (-0.9, 4.02, 308),
    "carrot": (-1.4, 3.92, 293),
    "cauliflower": (-0.8, 4.02, 307),
    "celery": (-0.5, 4.07, 316),
    "sweet-corn": (-0.6, 3.62, 254),
    "cucumber": (-0.5, 4.09, 321),
    "eggplant": (-0.8, 4.02, 307),
    "lettuce": (-0.2, 4.09, 320),
    "garlic": (-0.8, 3.17, 196),
}


@pytest.mark.parametrize("key", PRINTED_IN_FAHRENHEIT)
def test_fruit_is_ashraes_in_the_units_it_was_printed_in(key):
    freezes_f, cp, latent = PRINTED_IN_FAHRENHEIT[key]
    goods = commodity(key)
    assert goods.freezes_c * 1.8 + 32.0 == pytest.approx(freezes_f, abs=0.1)
    assert goods.cp_kj_kgk / 4.1868 == pytest.approx(cp, abs=0.005)
    assert goods.latent_kj_kg / KJ_KG_PER_BTU_LB == pytest.approx(latent, abs=0.5)


@pytest.mark.parametrize("key", PRINTED_IN_CELSIUS)
def test_vegetables_are_ashraes(key):
    goods = commodity(key)
    assert (goods.freezes_c, goods.cp_kj_kgk, goods.latent_kj_kg) == PRINTED_IN_CELSIUS[key]


@pytest.mark.parametrize(
    ("key", "other_c", "who"),
    [
        ("garlic", -2.0, "Cantwell, UC Davis, 11/2001, read"),
        ("onion", -0.9, "ASHRAE ch. 9 table 3, transcription, read"),
        ("milk", -1.0, "NZIFST appendix 7, read"),
        ("egg", -3.0, "NZIFST appendix 7, read"),
        ("beer", -2.0, "NZIFST appendix 7, read"),
        ("tomato-ripe", -1.0, "NZIFST appendix 7, read"),
        ("apple", -2.0, "NZIFST appendix 7, read"),
        ("fresh-fish", -2.2, "ASHRAE ch. 9 table 3, copy at ns2.engineersedge.com (28.0 °F), read"),
    ],
)
def test_where_sources_differ_the_higher_freezing_point_is_used(key, other_c, who):
    assert commodity(key).freezes_c > other_c, who


def test_milk_freezes_at_the_official_limit():
    # University of Illinois ANSC 438, read: -0.505 °C for bulk milk.
    assert commodity("milk").freezes_c == pytest.approx(-0.505, abs=0.01)


@pytest.mark.parametrize(("key", "ethanol_mass_pct"), [("beer", 3.96), ("wine", 9.7)])
def test_drinks_freeze_where_coolprop_freezes_ethanol_and_water(key, ethanol_mass_pct):
    # 5 and 12 % by volume; CoolProp 8.0.0 INCOMP::MEA, computed.
    library = PropsSI("T_freeze", "T", 283.15, "P", 101_325, f"INCOMP::MEA-{ethanol_mass_pct}%") - 273.15
    assert commodity(key).freezes_c == pytest.approx(library, abs=0.05)


@pytest.mark.parametrize(
    ("key", "lowest_safe_c"),
    [
        # Lowest safe temperatures, handbook chapter on produce degradation, table 20.5, read. Where it
        # prints a range (banana 11.5-13, pineapple 7-10, mango 10-13) the higher end is used.
        *(("banana", 13.0), ("pineapple", 10.0), ("mango", 13.0), ("cucumber", 7.0), ("eggplant", 7.0)),
        *(("okra", 7.0), ("snap-bean", 7.0), ("sweet-pepper", 7.0)),
    ],
)
def test_chill_limits_are_the_lowest_safe_temperatures(key, lowest_safe_c):
    goods = commodity(key)
    assert goods.chill_c == goods.damage_c == lowest_safe_c
    assert goods.chill_rule is ChillRule.HOURS
    assert goods.origins["chill_c"].known is Known.READ
    assert goods.origins["chill_hours"].known is Known.CHOICE


@pytest.mark.parametrize(
    ("key", "stored_c"), [("potato", 3.0), ("orange", 3.0), ("grapefruit", 10.0), ("cranberry", 2.0)]
)
def test_chilling_that_takes_weeks_in_store_is_no_loss_on_a_trip(key, stored_c):
    # Same table, read: it is about storage. Taking the freezing point as the limit of a trip is our choice.
    goods = commodity(key)
    assert goods.chill_c is None
    assert goods.damage_c == goods.freezes_c
    assert goods.carry_high_c > stored_c


@pytest.mark.parametrize(
    "key",
    ["banana", "cucumber", "eggplant", "okra", "pumpkin", "winter-squash", "sweetpotato", "tomato-green"],
)
def test_what_the_usda_wants_kept_strictly_has_a_chill_limit(key):
    # USDA CA-H-4 (1974), read: the recommended temperature of these "should be strictly adhered to".
    assert commodity(key).chill_c is not None


@pytest.mark.parametrize(
    ("key", "low_f", "high_f"),
    [
        ("snap-bean", 45, 50),
        ("okra", 45, 50),
        ("tomato-ripe", 45, 55),
        ("tomato-green", 55, 60),
        ("sweet-pepper", 45, 50),
    ],
)
def test_carrying_ranges_are_those_of_usda_handbook_66(key, low_f, high_f):
    # Handbook 66 (1954), table copied at zetatalk11.com, read; printed in °F.
    goods = commodity(key)
    assert goods.carry_low_c == pytest.approx((low_f - 32) / 1.8, abs=0.06)
    assert goods.carry_high_c == pytest.approx((high_f - 32) / 1.8, abs=0.06)


@pytest.mark.parametrize(
    ("key", "low_c", "high_c"), [("apple", -1.0, 4.0), ("cherry", -1.1, -0.6), ("peach", -0.6, 0.0)]
)
def test_a_guard_of_one_kelvin_for_all_would_refuse_published_ranges(key, low_c, high_c):
    # agrimaint.com/index.php/pre-cooling-methods, read, converted from °F; guidance.
    goods = commodity(key)
    assert (goods.carry_low_c, goods.carry_high_c) == (low_c, high_c)
    assert goods.damage_c + 1.0 > goods.carry_low_c >= goods.damage_c + goods.guard_k - 1e-9


def test_lettuce_governs_apples():
    # ASHRAE ch. 9 table 3, read: -0.2 against -1.1 °C.
    loads = [
        Load(mass_kg=1000.0, temperature_c=4.0, freezes_c=goods.freezes_c, damage_c=goods.damage_c)
        for goods in (commodity("apple"), commodity("lettuce"))
    ]
    governed = govern(loads)
    assert (governed.damage_c, governed.damage_by) == (-0.2, 1)


def test_most_vegetables_freeze_between_minus_one_and_a_half_and_minus_a_half():
    # studylib.net/doc/18566422, read.
    vegetables = [goods for goods in all_commodities() if goods.kind == "vegetable"]
    inside = [goods for goods in vegetables if -1.5 <= goods.freezes_c <= -0.5]
    assert len(inside) / len(vegetables) > 0.8


def test_vaccine_is_lost_at_its_first_touch_of_zero():
    # CDC MMWR 52(42), read: 2-8 °C, never freezing; handling summary at aaha.org, read: one exposure to 0
    # °C can destroy it. Hepatitis B vaccine can freeze at -0.5 °C (immunizationbasics.jsi.com, read).
    vaccine = commodity("vaccine")
    assert (vaccine.carry_low_c, vaccine.carry_high_c, vaccine.high_c) == (2.0, 8.0, 8.0)
    assert (vaccine.damage_c, vaccine.freezes_c) == (0.0, -0.5)
    assert vaccine.chill_rule is ChillRule.INSTANT


def test_blood_is_kept_between_one_and_ten_degrees():
    # 21 CFR 600.15(a), read.
    blood = commodity("blood")
    assert (blood.damage_c, blood.high_c) == (1.0, 10.0)
    assert blood.chill_rule is ChillRule.INSTANT


def test_refrigerated_and_room_temperature_medicine_follow_the_pharmacopoeia():
    # USP definitions as quoted at naplexstudy.com, read: cold 2-8 °C; room 20-25 °C with excursions to
    # 15-30 °C.
    cold, room = commodity("insulin"), commodity("medicine-15-25")
    assert (cold.carry_low_c, cold.carry_high_c) == (2.0, 8.0)
    assert (room.carry_low_c, room.carry_high_c, room.damage_c, room.high_c) == (20.0, 25.0, 15.0, 30.0)


def test_packed_eggs_stay_at_or_below_45_fahrenheit():
    # 63 FR 45663 (27 Aug 1998), read.
    assert commodity("egg").high_c == pytest.approx((45.0 - 32.0) / 1.8, abs=0.03)


@pytest.mark.parametrize(
    ("key", "btu_lb_h"),
    [
        *(
            ("apple", 0.012),
            ("asparagus", 0.245),
            ("broccoli", 0.092),
            ("cabbage", 0.023),
            ("cucumber", 0.119),
        ),
        *(
            ("okra", 0.257),
            ("potato", 0.028),
            ("strawberry", 0.069),
            ("sweet-corn", 0.186),
            ("tomato-ripe", 0.067),
        ),
    ],
)
def test_respiration_is_the_cool_column_of_the_extension_table(key, btu_lb_h):
    # NC State extension after USDA Handbook 66 (1986), read; printed in Btu/lb h.
    assert commodity(key).respiration_w_kg == pytest.approx(btu_lb_h * W_KG_PER_BTU_LB_H, abs=6e-5)


def test_the_tenderest_roots_die_at_24_fahrenheit():
    # bayweekly.com/freezing-to-death, read; 18-24 °F injures container stock (Louisiana examination, read).
    assert commodity("nursery-tender").freezes_c == pytest.approx((24 - 32) / 1.8, abs=0.05)
    assert commodity("nursery-hardy").freezes_c == pytest.approx((18 - 32) / 1.8, abs=0.05)


def test_latex_paint_never_comes_near_freezing():
    # ASTM D2243 (scribd 475868493, read) cycles paint at -18 °C and gives no limit: 0 °C and +5 °C are our
    # choices.
    paint = commodity("latex-paint")
    assert (paint.damage_c, paint.carry_low_c) == (0.0, 5.0)
    assert paint.origins["freezes_c"].known is Known.CHOICE
    assert paint.chill_rule is ChillRule.INSTANT


@pytest.mark.parametrize("text", ["paint, 24 drums", "alkyd paint", "solvent based adhesive", "UN 1263 paint"])
def test_paint_that_may_be_class_3_is_never_accepted_as_paint(text):
    # 49 CFR 177.834(l) (quoted at fleet-safety.com/mt/2006/06, read) limits cargo heaters with flammables;
    # PHMSA letter 07-0037 asks about Class 3 paint that needs heat in winter (question read, answer not
    # seen).
    with pytest.raises(HazardousLoad):
        classify_goods(text)
