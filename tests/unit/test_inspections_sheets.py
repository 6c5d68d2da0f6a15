"""The built-in sheets as documents: complete, walkable, and in the order of the work."""

from __future__ import annotations

import pytest

from fleet.readiness.facts import DESIGN_FIELDS
from inspections.builtin import built_in_documents, sheet_hash
from inspections.form import items_of
from inspections.measures import BY_NAME, FACT_NAMES, facts_from
from inspections.models import Sheet

DOCUMENTS = built_in_documents()
ITEMS = [(document, group, item) for document in DOCUMENTS for group in document["groups"] for item in group["items"]]


def by_key(key: str) -> dict:
    return next(document for document in DOCUMENTS if document["key"] == key)


def test_there_is_a_sheet_of_each_kind():
    assert {document["kind"] for document in DOCUMENTS} == set(Sheet.Kind.values)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda document: document["key"])
def test_keys_are_used_once_on_a_sheet(document):
    keys = [item["key"] for group in document["groups"] for item in group["items"]]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize(("document", "group", "item"), ITEMS, ids=[f"{d['key']}-{i['key']}" for d, _, i in ITEMS])
def test_each_item_says_what_to_look_for_and_measures_only_what_is_known(document, group, item):
    assert len(item["look_for"]) > 10
    assert isinstance(item["blocks"], bool)
    for measure in item.get("measures", []):
        assert measure["name"] in BY_NAME
        for side in ("low_design", "high_design"):
            assert measure.get(side, "tank_l") in DESIGN_FIELDS


@pytest.mark.parametrize("document", [d for d in DOCUMENTS if d["kind"] != "post_trip"], ids=lambda d: d["key"])
def test_switching_the_unit_back_on_is_the_last_item(document):
    assert document["groups"][-1]["items"][-1]["key"] == "unit_on"


def test_the_pre_trip_sheet_walks_from_the_isolated_unit_through_the_box_to_the_running_unit():
    groups = by_key("pre-trip")["groups"]
    assert [group["key"] for group in groups] == ["off", "box", "running"]
    assert [item["key"] for item in groups[0]["items"]] == [
        "fuel", "engine_oil", "coolant", "battery", "wiring", "belt", "coil", "leaks", "mounting", "snow_ice",
        "exhaust", "covers",
    ]  # fmt: skip


def test_limits_come_from_the_unit_model_or_are_none_when_it_does_not_state_them():
    groups = by_key("pre-trip")["groups"]
    stated = items_of(groups, design={"belt_tension_low_n": 300.0, "belt_tension_high_n": 500.0, "nominal_v": 24.0})
    assert (stated["belt"].measures[0].low, stated["belt"].measures[0].high) == (300.0, 500.0)
    assert (stated["battery"].measures[0].low, stated["battery"].measures[0].high) == (24.4, 26.4)
    silent = items_of(groups, design={})
    assert (silent["belt"].measures[0].low, silent["battery"].measures[0].low) == (None, None)


def test_the_hash_of_a_sheet_covers_every_word_and_not_its_version():
    document = by_key("loading")
    assert sheet_hash(document) == sheet_hash(document | {"version": 9})
    assert sheet_hash(document) != sheet_hash(document | {"intro": document["intro"] + "!"})


def test_a_rest_voltage_without_its_rest_time_gives_no_fact():
    assert facts_from([{"battery_rest_v": 12.7}]) == {}
    assert facts_from([{"battery_rest_v": 12.7, "battery_rest_h": 3.0}]) == {
        "inspections.battery_rest_v": {"volts": 12.7, "rest_h": 3.0, "temp_c": None}
    }


def test_every_fact_that_can_be_measured_is_known_by_name():
    values = dict.fromkeys(BY_NAME, 1.0) | {"load_temperatures_c": [1.0, 2.0]}
    assert set(facts_from([values])) == set(FACT_NAMES)
