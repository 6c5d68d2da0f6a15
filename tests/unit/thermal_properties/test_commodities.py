"""The commodity table keeps its own rules: limits in order, every number with an origin, dangers refused."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermal import Load, govern
from thermal.commodities import (
    HAZARDS,
    HIGHEST_GUARD_K,
    SOURCES,
    ChillRule,
    HazardousLoad,
    Known,
    UnknownCommodity,
    all_commodities,
    commodity,
)
from thermal.food import heat_capacity_for_cooling, heat_capacity_for_warming, latent_heat

ALL = all_commodities()
WET = [goods for goods in ALL if not goods.no_heat_needed]
DRY = [goods for goods in ALL if goods.no_heat_needed]


def by_key(goods):
    return goods.key


@pytest.mark.parametrize("goods", WET, ids=by_key)
def test_the_damage_limit_lies_below_the_carrying_range_and_the_range_below_the_warm_limit(goods):
    assert goods.damage_c < goods.carry_low_c <= goods.carry_high_c <= goods.high_c
    assert goods.damage_c == max(c for c in (goods.freezes_c, goods.chill_c) if c is not None)
    assert 0.0 < goods.guard_k <= HIGHEST_GUARD_K


@pytest.mark.parametrize("goods", WET, ids=by_key)
def test_every_wet_row_can_feed_the_box_model(goods):
    assert 0.3 < goods.water <= 1.0
    assert -15.0 < goods.freezes_c <= 0.0
    assert 2.0 < goods.cp_kj_kgk <= 4.2
    assert 100.0 < goods.latent_kj_kg <= 335.0
    assert goods.respiration_w_kg is None or 0.0 < goods.respiration_w_kg < 0.3


@pytest.mark.parametrize("goods", ALL, ids=by_key)
def test_every_number_has_an_origin_and_every_origin_a_source(goods):
    given_numbers = {field.name for field in dataclasses.fields(goods) if isinstance(getattr(goods, field.name), float)}
    assert set(goods.origins) == given_numbers
    for origin in goods.origins.values():
        assert origin.source in SOURCES
        assert (origin.known is Known.MEMORY) == (origin.source == "MEM")
        assert (origin.known is Known.CHOICE) == (origin.source == "OWN")


def test_every_source_is_used_and_keys_and_phrases_are_unique():
    used = {origin.source for goods in ALL for origin in goods.origins.values()}
    assert used == set(SOURCES)
    assert len({goods.key for goods in ALL}) == len(ALL) >= 40
    phrases = [phrase for goods in ALL for phrase in goods.aliases]
    assert len(set(phrases)) == len(phrases)
    assert all(goods.aliases for goods in ALL)


@pytest.mark.parametrize("goods", WET, ids=by_key)
def test_hours_are_given_exactly_where_a_chill_limit_allows_them(goods):
    assert (goods.chill_rule is ChillRule.HOURS) == (goods.chill_hours is not None)
    if goods.chill_rule is ChillRule.HOURS:
        assert goods.chill_c is not None
        assert goods.chill_hours > 0.0


@pytest.mark.parametrize("goods", WET, ids=by_key)
def test_a_value_said_to_be_computed_from_the_water_share_is(goods):
    sources = {name: origin.source for name, origin in goods.origins.items()}
    fits = {"CHEN": heat_capacity_for_warming, "SIEB": heat_capacity_for_cooling}
    if sources["cp_kj_kgk"] in fits:
        expected = fits[sources["cp_kj_kgk"]](goods.water) / 1000.0
        assert goods.cp_kj_kgk == pytest.approx(expected, abs=0.006)
    if "LAT" in (sources["latent_kj_kg"], sources["water"]):
        assert goods.latent_kj_kg == pytest.approx(latent_heat(goods.water) / 1000.0, abs=0.6)


@pytest.mark.parametrize("goods", DRY, ids=by_key)
def test_dry_goods_have_no_limits_at_all(goods):
    assert goods.damage_c is None
    assert goods.guard_k is None
    assert goods.high_c is None
    assert not goods.origins


@pytest.mark.parametrize("key", ["vaccine", "latex-paint", "blood", "insulin"])
def test_passing_the_limit_once_is_loss_for_medicine_and_paint(key):
    assert commodity(key).chill_rule is ChillRule.INSTANT


@pytest.mark.parametrize("key", ["banana", "cucumber", "tomato-green", "pineapple", "sweetpotato"])
def test_chill_sensitive_produce_is_judged_by_hours(key):
    goods = commodity(key)
    assert goods.chill_rule is ChillRule.HOURS
    assert goods.damage_c == goods.chill_c > goods.freezes_c


@pytest.mark.parametrize("key", ["apple", "cherry", "peach", "lettuce"])
def test_goods_carried_close_to_freezing_have_a_guard_of_their_own(key):
    goods = commodity(key)
    assert goods.guard_k < HIGHEST_GUARD_K
    assert goods.damage_c + goods.guard_k == pytest.approx(goods.carry_low_c)


@pytest.mark.parametrize("key", HAZARDS)
def test_a_dangerous_key_is_refused_and_is_no_row(key):
    with pytest.raises(HazardousLoad) as caught:
        commodity(key)
    assert (caught.value.code, caught.value.value) == ("hazardous-load", key)
    assert key not in {goods.key for goods in ALL}


@pytest.mark.parametrize("key", ["", "potatos", "Potato", "tomato"])
def test_a_key_that_is_not_in_the_table_is_unknown_not_guessed(key):
    with pytest.raises(UnknownCommodity) as caught:
        commodity(key)
    assert caught.value.code == "unknown-commodity"


def carried(key):
    goods = commodity(key)
    return Load(
        mass_kg=1000.0,
        temperature_c=6.0,
        freezes_c=goods.freezes_c,
        damage_c=goods.damage_c,
        high_c=goods.high_c,
    )


@given(st.lists(st.sampled_from([goods.key for goods in WET if goods.freezes_c is not None]), min_size=1, max_size=5))
def test_a_mixed_load_is_governed_by_its_most_tender_parts(keys):
    governed = govern([carried(key) for key in keys])
    assert governed.damage_c == max(commodity(key).damage_c for key in keys)
    assert governed.high_c == min(commodity(key).high_c for key in keys)
    assert governed.empty == (governed.high_c <= governed.damage_c)


def test_bananas_with_lettuce_have_no_common_temperature():
    assert govern([carried("banana"), carried("lettuce")]).empty
    assert not govern([carried("apple"), carried("lettuce")]).empty
