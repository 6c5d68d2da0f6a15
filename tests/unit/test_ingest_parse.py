"""The two ways of reading an event agree, and a key that stands twice is found wherever it stands."""

from __future__ import annotations

import json
from typing import Any
from unittest import mock

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.ingest.careful import FIELDS, BadItem, ReadingValues
from fleet.ingest.fields import FIELD_NAMES, READING_FIELDS, Kind
from fleet.ingest.parse import Item, read_values, split_batch
from fleet.ingest.twins import repeats_a_key

HEAD = {
    "specversion": "1.0", "id": "r-1", "source": "gateway/yard-3", "type": "unit.reading.v1", "subject": "HB-104",
    "time": "2027-01-12T05:40:00Z",
}  # fmt: skip
UNREAD = ["traceparent", "nested"]


def number(low: float, high: float) -> st.SearchStrategy[Any]:
    return st.none() | st.integers(int(low) - 1, int(high) + 1) | st.floats(low - 1, high + 1) | st.booleans()


data = st.fixed_dictionaries(
    {},
    optional={
        field.name: st.none() | st.booleans() | st.just(1)
        if field.kind is Kind.FLAG
        else number(field.low, field.high) | st.just({"value": 44, "unit": "degF"}) | st.just({"value": 1, "unit": "L"})
        for field in READING_FIELDS
    }
    | {"fuel_pct": number(0, 100), "latitude": number(-90, 90), "longitude": number(-180, 180), "mood": st.just(1)},
)
more = st.fixed_dictionaries(
    {},
    optional={
        "datacontenttype": st.sampled_from(["application/json", None, 7]),
        "traceparent": st.sampled_from(["00-ab", 'with " and \\']),
        "id": st.sampled_from(["r-2", "", "x" * 201, "line\n", "del\x7f", "é", "\\u0022", '"']),
        "subject": st.sampled_from(["HB-1", "x" * 101]),
        "time": st.sampled_from(["2027-01-12T05:40:00+02:00", "2027-01-12T05:40:00", "2027-01-12"]),
        "type": st.sampled_from(["unit.fault.v1", "unit.reading.v1"]),
    },
)


def slowly(raw: bytes) -> Item:
    """The item as it is read when nothing is taken for plain: a backslash in an attribute nobody reads."""
    return split_batch(b"[" + raw[:-1] + b', "aside": "\\n"}]')[0]


def told(item: Item) -> Any:
    """What an item says, whichever way it was read."""
    if item.bad is not None or item.envelope is None:
        assert item.bad is not None
        return item.bad.code, item.bad.detail, item.bad.pointer
    head = item.envelope
    attributes = (head.id, head.source, head.type, head.subject, head.time)
    if head.type != "unit.reading.v1":
        return attributes, bytes(head.data)
    try:
        return attributes, read_values(item)
    except BadItem as bad:
        return attributes, bad.code, bad.detail, bad.pointer


@settings(deadline=None)  # the first conversion of a unit loads their table
@given(data=data, more=more, ascii_only=st.booleans())
def test_both_ways_of_reading_an_event_agree(data: dict[str, Any], more: dict[str, Any], ascii_only: bool) -> None:
    raw = json.dumps(HEAD | {"data": data} | more, ensure_ascii=ascii_only).encode()
    item = split_batch(b"[" + raw + b"]")[0]
    assert told(item) == told(slowly(raw))
    assert item.raw == raw


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ({}, {"return_air_c": 7.1, "unit_on": True}),
        ({"datacontenttype": "application/json"}, {"return_air_c": 7}),
        ({"traceparent": "00-ab"}, {"fuel_l": 1}),
        ({}, {"fuel_l": 1, "cargo_c": None}),
        ({}, {"latitude": 60.1, "longitude": 24.9}),
        ({}, {"fuel_pct": 50}),
        ({}, {"fuel_l": {"value": 10, "unit": "gal"}, "ambient_c": {"value": 14, "unit": "degF"}, "cargo_c": None}),
    ],
)
def test_what_integrators_send_is_read_in_one_call(extra: dict[str, Any], said: dict[str, Any]) -> None:
    raw = json.dumps(HEAD | {"data": said} | extra).encode()
    assert isinstance(split_batch(b"[" + raw + b"]")[0].values, ReadingValues)
    with mock.patch("fleet.ingest.parse.read_one", side_effect=AssertionError("read one by one")):
        together = split_batch(b"[" + b",".join([raw] * 3) + b"]") if "traceparent" not in extra else []
    assert [item.values for item in together] == [read_values(split_batch(b"[" + raw + b"]")[0])] * len(together)


@pytest.mark.parametrize("unit", ["degX", "L"])
def test_a_unit_that_is_not_known_is_told_of_the_item_that_has_it(unit: str) -> None:
    good, bad = ({"value": 14, "unit": name} for name in ("degF", unit))
    raws = [json.dumps(HEAD | {"data": {"ambient_c": value}}) for value in (good, bad, good)]
    first, second, third = split_batch(f"[{','.join(raws)}]".encode())
    assert first.values == third.values
    assert first.values.values[FIELD_NAMES.index("ambient_c")] == -10
    with pytest.raises(BadItem) as error:
        read_values(second)
    assert (error.value.code, error.value.pointer) == ("bad-unit", "/data/ambient_c/unit")


# --- keys that stand twice --------------------------------------------------------------------------------------------

keys = st.sampled_from(["a", "b", '"', "\\", "value", "é"])
documents = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | st.sampled_from(["", "x", '"', '""', "\\", "a: b", "null"]),
    lambda inner: st.lists(inner, max_size=3) | st.lists(st.tuples(keys, inner), max_size=3).map(tuple),
    max_leaves=12,
)


def spelled(value: Any, escape: bool) -> str:
    """JSON text of a document whose objects are tuples of pairs, so that a key can stand twice."""
    if isinstance(value, tuple):
        return "{" + ",".join(f"{spelled(key, escape)}:{spelled(part, escape)}" for key, part in value) + "}"
    if isinstance(value, list):
        return "[" + ",".join(spelled(part, escape) for part in value) + "]"
    if escape and isinstance(value, str):
        return '"' + "".join(f"\\u{ord(letter):04x}" for letter in value) + '"'
    return json.dumps(value)


def has_twins(value: Any) -> bool:
    if isinstance(value, tuple):
        names = [key for key, _ in value]
        return len(set(names)) < len(names) or any(has_twins(part) for _, part in value)
    return isinstance(value, list) and any(map(has_twins, value))


@given(document=documents, escape=st.booleans())
def test_a_key_that_stands_twice_is_found_wherever_it_stands(document: Any, escape: bool) -> None:
    assert repeats_a_key(spelled(document, escape).encode()) == has_twins(document)


TWICE = [
    '{"fuel_l": 1, "fuel_l": 1}',
    '{"fuel_l": 1, "cargo_c": 2, "fuel_l": null}',
    '{"fuel_l": null, "fuel_l": 1}',
    '{"fuel_l": {"value": 1, "value": 2, "unit": "L"}}',
    '{"fuel_l": {"value": 1, "unit": "L", "unit": "L"}}',
    '{"fuel_l": 1, "\\u0066uel_l": 1}',
]


@pytest.mark.parametrize("said", TWICE)
@pytest.mark.parametrize("extra", ["", '"datacontenttype": "a", ', '"traceparent": "\\u0022\\u0022", '])
def test_a_value_told_twice_is_refused_in_every_kind_of_reading(said: str, extra: str) -> None:
    head = json.dumps(HEAD)[1:-1]
    item = split_batch(f'[{{{extra}{head}, "data": {said}}}]'.encode())[0]
    assert item.bad is not None
    assert item.bad.code == "duplicate-key"


@pytest.mark.parametrize("name", [*HEAD, "datacontenttype", *UNREAD])
def test_an_attribute_told_twice_is_refused(name: str) -> None:
    event = {"datacontenttype": "a", "traceparent": "b", "nested": {"c": [1]}} | HEAD | {"data": {"fuel_l": 1}}
    twice = json.dumps({name: event[name]})[1:-1]
    item = split_batch(f"[{{{twice}, {json.dumps(event)[1:-1]}}}]".encode())[0]
    assert item.bad is not None
    assert item.bad.code == "duplicate-key"


def test_the_decoder_knows_every_field_of_the_table() -> None:
    said = {field.name: True if field.kind is Kind.FLAG else field.high for field in READING_FIELDS}
    item = split_batch(b"[" + json.dumps(HEAD | {"data": said}).encode() + b"]")[0]
    assert item.values is not None
    assert item.values.values == tuple(said.values())
    assert len(said) == FIELDS
