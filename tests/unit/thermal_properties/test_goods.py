"""Words to goods: whole phrases only, dangers first, and no guess."""

import pytest

from thermal.commodities import HazardousLoad, UnknownCommodity, all_commodities
from thermal.goods import classify_goods

PHRASES = [(phrase, goods.key) for goods in all_commodities() for phrase in goods.aliases]


@pytest.mark.parametrize(("phrase", "key"), PHRASES)
def test_every_listed_phrase_finds_its_own_row(phrase, key):
    assert classify_goods(phrase).key == key
    assert classify_goods(f"20 pallets of {phrase.upper()}, mixed sizes").key == key


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("Potatoes", "potato"),
        ("sweet potatoes", "sweetpotato"),
        ("seed-potatoes", "seed-potato"),
        ("cherries", "cherry"),
        ("Blueberries, organic", "blueberry"),
        ("tinned   foods", "canned-food"),
        ("interior latex paint", "latex-paint"),
        ("water based paints", "latex-paint"),
    ],
)
def test_plurals_spacing_and_hyphens_do_not_matter(text, key):
    assert classify_goods(text).key == key


@pytest.mark.parametrize(
    "text",
    [
        "paint",
        "Wall paint, 20 drums",
        "glue",
        "contact adhesive",
        "oil-based paint",
        "latex paint and thinner",
        "varnish",
        "solvents",
        "Class 3 adhesive",
        "UN 1263",
        "UN1263 latex paint",
        "non-flammable liquid",
        "vodka",
        "lithium batteries",
        "paint brushes",
    ],
)
def test_what_is_or_may_be_dangerous_is_refused(text):
    with pytest.raises(HazardousLoad) as caught:
        classify_goods(text)
    assert caught.value.field == "goods"
    assert caught.value.value == text


@pytest.mark.parametrize("text", ["", "   ", "FAK", "tomatoes"])
def test_words_that_name_no_row_are_unknown(text):
    with pytest.raises(UnknownCommodity) as caught:
        classify_goods(text)
    assert caught.value.limit == ()


@pytest.mark.parametrize("text", ["applesauce", "pearls", "beer-mats", "watermelonade"])
def test_a_word_that_only_contains_a_phrase_is_unknown(text):
    with pytest.raises(UnknownCommodity):
        classify_goods(text)


def test_two_kinds_of_goods_are_not_reduced_to_one():
    with pytest.raises(UnknownCommodity) as caught:
        classify_goods("apples and lettuce")
    assert caught.value.limit == ("apple", "lettuce")
