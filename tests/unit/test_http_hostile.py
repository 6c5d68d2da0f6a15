"""Bodies that somebody will send one day, by accident or on purpose, and what each is told."""

import pytest
from django.core.exceptions import ImproperlyConfigured
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from fleet.errors import InvalidInput
from fleet.http.fields import (
    FiniteFloatField,
    InstantField,
    QuantityField,
    StrictBooleanField,
    StrictCharField,
    StrictChoiceField,
    StrictDateField,
    StrictIntegerField,
)
from fleet.http.parsers import MAX_DEPTH, MalformedBody, read_json
from fleet.http.pointers import field_errors
from fleet.http.serializers import StrictSerializer


class Stop(StrictSerializer):
    place = StrictCharField(max_length=20)
    door_open_min = QuantityField(unit="min", min_value=0, max_value=1440, required=False)


class Load(StrictSerializer):
    id = StrictIntegerField(read_only=True)
    at = InstantField(required=False)
    day = StrictDateField(required=False)
    mass_kg = FiniteFloatField(min_value=0, max_value=40_000, exclusive_min=True, required=False)
    air_c = QuantityField(unit="c", min_value=-90, max_value=70, required=False)
    count = StrictIntegerField(min_value=0, max_value=100, required=False)
    hazardous = StrictBooleanField(required=False)
    tier = StrictChoiceField(choices=["watch", "attend", "stop"], required=False)
    name = StrictCharField(max_length=10, required=False)
    note = StrictCharField(max_length=100, multiline=True, required=False)
    stops = Stop(many=True, required=False)


NOT_JSON = {
    "empty": b"",
    "words": b"hello",
    "cut off": b'{"a": 1',
    "two documents": b"{} {}",
    "trailing comma": b'{"a": 1,}',
    "single quotes": b"{'a': 1}",
    "comment": b'{"a": 1} // note',
    "NaN": b'{"mass_kg": NaN}',
    "Infinity": b'{"mass_kg": Infinity}',
    "minus Infinity": b'{"mass_kg": -Infinity}',
    "duplicate key": b'{"mass_kg": 1, "mass_kg": 2}',
    "duplicate key spelt differently": b'{"a": 1, "\\u0061": 2}',
    "duplicate key far inside": b'{"stops": [{"a": {"b": 1, "b": 1}}]}',
    "byte order mark": b"\xef\xbb\xbf{}",
    "UTF-16": '{"name": "x"}'.encode("utf-16"),
    "UTF-32": '{"name": "x"}'.encode("utf-32"),
    "Latin-1": '{"name": "é"}'.encode("latin-1"),
    "overlong UTF-8": b'{"name": "\xc0\xaf"}',
    "surrogate in UTF-8": b'{"name": "\xed\xa0\x80"}',
    "raw control character": b'{"name": "a\x01b"}',
    "raw NUL": b'{"name": "a\x00b"}',
    "17 levels": b"[" * (MAX_DEPTH + 1) + b"]" * (MAX_DEPTH + 1),
    "17 levels of objects": b'{"a":' * (MAX_DEPTH + 1) + b"1" + b"}" * (MAX_DEPTH + 1),
    "a hundred thousand brackets": b"[" * 100_000,
    "a hundred thousand nested objects": b'{"a":' * 100_000,
    "an integer of five thousand digits": b'{"count": ' + b"9" * 5000 + b"}",
    "leading zero": b'{"count": 01}',
    "hexadecimal": b'{"count": 0x10}',
    "plus sign": b'{"count": +1}',
}


@pytest.mark.parametrize("body", NOT_JSON.values(), ids=NOT_JSON.keys())
def test_what_is_not_one_json_document_is_malformed(body):
    with pytest.raises(MalformedBody) as refusal:
        read_json(body)
    assert refusal.value.detail


HOSTILE_VALUES = {
    "1e400": (b'{"mass_kg": 1e400}', "/mass_kg", "not-finite"),
    "-1e400 in a list": (b'{"a": [0, -1e400]}', "/a/1", "not-finite"),
    "escaped NUL": (b'{"name": "a\\u0000b"}', "/name", "null-character"),
    "escaped NUL in a name": (b'{"a": {"x\\u0000": 1}}', "/a", "null-character"),
    "lone high surrogate": (b'{"name": "\\ud800"}', "/name", "lone-surrogate"),
    "lone low surrogate": (b'{"name": "\\uDC00x"}', "/name", "lone-surrogate"),
    "surrogates the wrong way round": (b'{"name": "\\udc00\\ud800"}', "/name", "lone-surrogate"),
}


@pytest.mark.parametrize(("body", "pointer", "code"), HOSTILE_VALUES.values(), ids=HOSTILE_VALUES.keys())
def test_a_value_nothing_can_hold_is_pointed_at(body, pointer, code):
    with pytest.raises(InvalidInput) as refusal:
        read_json(body)
    assert [(error.pointer, error.code) for error in refusal.value.errors] == [(pointer, code)]


def test_a_surrogate_pair_is_one_character_and_sixteen_levels_are_allowed():
    assert read_json(b'{"name": "\\ud83d\\ude9b"}') == {"name": "\U0001f69b"}
    deep = b"[" * MAX_DEPTH + b"1" + b"]" * MAX_DEPTH
    assert str(read_json(deep)).count("[") == MAX_DEPTH


REFUSED = {
    "unknown member": ({"mas_kg": 1}, "/mas_kg", "unknown-member"),
    "member with a slash": ({"a/b~c": 1}, "/a~1b~0c", "unknown-member"),
    "read-only member": ({"id": 1}, "/id", "read-only"),
    "unknown member far inside": (
        {"stops": [{"place": "x", "plaice": 1}]},
        "/stops/0/plaice",
        "unknown-member",
    ),
    "second stop without place": ({"stops": [{"place": "x"}, {}]}, "/stops/1/place", "required"),
    "an object where a list belongs": ({"stops": {}}, "/stops", "not-a-list"),
    "a list where an object belongs": ({"stops": [[]]}, "/stops/0", "invalid"),
    "true as a number": ({"mass_kg": True}, "/mass_kg", "not-a-number"),
    "text as a number": ({"mass_kg": "1"}, "/mass_kg", "not-a-number"),
    "null": ({"mass_kg": None}, "/mass_kg", "null"),
    "infinite": ({"mass_kg": float("inf")}, "/mass_kg", "not-finite"),
    "not a number": ({"mass_kg": float("nan")}, "/mass_kg", "not-finite"),
    "an integer no float holds": ({"mass_kg": 10**400}, "/mass_kg", "not-finite"),
    "zero mass": ({"mass_kg": 0}, "/mass_kg", "not-above"),
    "negative mass": ({"mass_kg": -1e-9}, "/mass_kg", "too-small"),
    "a mountain": ({"mass_kg": 40_000.01}, "/mass_kg", "too-large"),
    "air below -90": ({"air_c": -90.1}, "/air_c", "too-small"),
    "air below -90 in degF": ({"air_c": {"value": -131, "unit": "degF"}}, "/air_c", "too-small"),
    "coulombs": ({"air_c": {"value": 4, "unit": "C"}}, "/air_c", "unknown-unit"),
    "a temperature as a difference": (
        {"air_c": {"value": 4, "unit": "delta_degC"}},
        "/air_c",
        "unknown-unit",
    ),
    "a unit as a list": ({"air_c": {"value": 4, "unit": ["degC"]}}, "/air_c", "not-a-quantity"),
    "a quantity without unit": ({"air_c": {"value": 4}}, "/air_c", "not-a-quantity"),
    "a quantity with more": ({"air_c": {"value": 4, "unit": "degC", "x": 1}}, "/air_c", "not-a-quantity"),
    "a quantity of true": ({"air_c": {"value": True, "unit": "degC"}}, "/air_c", "not-a-number"),
    "a quantity that overflows": ({"air_c": {"value": 1e308, "unit": "degF"}}, "/air_c", "too-large"),
    "an integer with a fraction": ({"count": 1.5}, "/count", "not-an-integer"),
    "false as an integer": ({"count": False}, "/count", "not-an-integer"),
    "text as an integer": ({"count": "1"}, "/count", "not-an-integer"),
    "infinite integer": ({"count": float("inf")}, "/count", "not-an-integer"),
    "huge integer": ({"count": 2**70}, "/count", "too-large"),
    "one as a boolean": ({"hazardous": 1}, "/hazardous", "not-a-boolean"),
    "text as a boolean": ({"hazardous": "true"}, "/hazardous", "not-a-boolean"),
    "a number as text": ({"name": 5}, "/name", "not-text"),
    "true as text": ({"name": True}, "/name", "not-text"),
    "an object as text": ({"name": {}}, "/name", "not-text"),
    "blank text": ({"name": "  "}, "/name", "blank"),
    "long text": ({"name": "x" * 11}, "/name", "max-length"),
    "NUL in text": ({"name": "a\x00"}, "/name", "null-character"),
    "line break in a name": ({"name": "a\nb"}, "/name", "control-character"),
    "escape sequence in a name": ({"name": "\x1b[31m"}, "/name", "control-character"),
    "bell in a note": ({"note": "a\x07"}, "/note", "control-character"),
    "unknown word": ({"tier": "red"}, "/tier", "invalid-choice"),
    "true as a word": ({"tier": True}, "/tier", "invalid-choice"),
    "a list as a word": ({"tier": []}, "/tier", "invalid-choice"),
    "naive time": ({"at": "2027-01-12T05:40:00"}, "/at", "not-an-instant"),
    "date only": ({"at": "2027-01-12"}, "/at", "not-an-instant"),
    "blank instead of T": ({"at": "2027-01-12 05:40:00Z"}, "/at", "not-an-instant"),
    "no seconds": ({"at": "2027-01-12T05:40Z"}, "/at", "not-an-instant"),
    "basic format": ({"at": "20270112T054000Z"}, "/at", "not-an-instant"),
    "seconds since 1970": ({"at": 1799732400}, "/at", "not-an-instant"),
    "February 30": ({"at": "2027-02-30T05:40:00Z"}, "/at", "not-an-instant"),
    "leap second": ({"at": "2016-12-31T23:59:60Z"}, "/at", "not-an-instant"),
    "hour 24": ({"at": "2027-01-12T24:00:00Z"}, "/at", "not-an-instant"),
    "offset of 99 minutes": ({"at": "2027-01-12T05:40:00+01:99"}, "/at", "not-an-instant"),
    "offset of 24 hours": ({"at": "2027-01-12T05:40:00+24:00"}, "/at", "not-an-instant"),
    "offset without colon": ({"at": "2027-01-12T05:40:00+0100"}, "/at", "not-an-instant"),
    "other digits": ({"at": "٢٠٢٧-01-12T05:40:00Z"}, "/at", "not-an-instant"),
    "year 1": ({"at": "0001-01-01T00:00:00+14:00"}, "/at", "not-an-instant"),
    "year 9999": ({"at": "9999-12-31T23:59:59-14:00"}, "/at", "not-an-instant"),
    "trailing line break": ({"at": "2027-01-12T05:40:00Z\n"}, "/at", "not-an-instant"),
    "a time as a date": ({"day": "2027-01-12T00:00:00Z"}, "/day", "not-a-date"),
    "February 30 as a date": ({"day": "2027-02-30"}, "/day", "not-a-date"),
    "a date of 1066": ({"day": "1066-10-14"}, "/day", "not-a-date"),
    "a date as a number": ({"day": 20270112}, "/day", "not-a-date"),
    "the body is a list": ([], "", "invalid"),
    "the body is a word": ("x", "", "invalid"),
    "the body is null": (None, "", "null"),
}


@pytest.mark.parametrize(("body", "pointer", "code"), REFUSED.values(), ids=REFUSED.keys())
def test_a_value_that_is_not_what_it_should_be_is_refused_and_pointed_at(body, pointer, code):
    serializer = Load(data=body)
    with pytest.raises(ValidationError) as refusal:
        serializer.is_valid(raise_exception=True)
    assert [(error.pointer, error.code) for error in field_errors(refusal.value.detail)] == [(pointer, code)]


def test_a_hundred_thousand_members_with_one_twin_are_refused_without_a_search_per_member():
    members = ",".join(f'"m{number}":1' for number in range(60_000))
    with pytest.raises(MalformedBody, match="'m7' occurs twice"):
        read_json(f'{{{members},"m7":1}}'.encode())


def test_a_field_that_coerces_cannot_be_declared_for_input():
    with pytest.raises(ImproperlyConfigured, match="mass_kg: FloatField"):
        type("Lax", (StrictSerializer,), {"mass_kg": serializers.FloatField()})
    with pytest.raises(ImproperlyConfigured, match="codes: ListField"):
        type("Lax", (StrictSerializer,), {"codes": serializers.ListField(child=serializers.CharField())})
    type("Answer", (StrictSerializer,), {"mass_kg": serializers.FloatField(read_only=True)})


def test_a_part_of_a_partial_change_is_whole():
    class Help(StrictSerializer):
        median_h = FiniteFloatField(min_value=0, max_value=72)
        p90_h = FiniteFloatField(min_value=0, max_value=168)
        source = StrictCharField(max_length=20, default="assumed")

        def validate(self, attrs):
            assert attrs.keys() == {"median_h", "p90_h", "source"}
            return attrs

    class Trip(StrictSerializer):
        reference = StrictCharField(max_length=20)
        help = Help(required=False)
        stops = Help(many=True, required=False)

    assert Trip(data={}, partial=True).is_valid()
    whole = {"median_h": 3, "p90_h": 6}
    change = Trip(data={"help": whole, "stops": [whole]}, partial=True)
    change.is_valid(raise_exception=True)
    assert change.validated_data["help"] == {"median_h": 3.0, "p90_h": 6.0, "source": "assumed"}
    assert change.validated_data["stops"] == [change.validated_data["help"]]
    torn = Trip(data={"help": {"median_h": 3}, "stops": [whole, {"p90_h": 6}]}, partial=True)
    assert not torn.is_valid()
    found = {(error.pointer, error.code) for error in field_errors(torn.errors)}
    assert found == {("/help/p90_h", "required"), ("/stops/1/median_h", "required")}


def test_every_wrong_value_is_reported_at_once():
    serializer = Load(data={"mass_kg": "1", "count": 101, "colour": "red"})
    assert not serializer.is_valid()
    found = {(error.pointer, error.code) for error in field_errors(serializer.errors)}
    assert found == {
        ("/mass_kg", "not-a-number"),
        ("/count", "too-large"),
        ("/colour", "unknown-member"),
    }


def test_a_sound_body_passes_unchanged():
    serializer = Load(
        data={
            "mass_kg": 18_000,
            "air_c": {"value": 44, "unit": "degF"},
            "count": 5.0,
            "hazardous": False,
            "tier": "stop",
            "name": " HB-104 ",
            "note": "two\nlines",
            "stops": [{"place": "Vinterby depot", "door_open_min": 25}],
        }
    )
    serializer.is_valid(raise_exception=True)
    assert serializer.validated_data == {
        "mass_kg": 18_000.0,
        "air_c": pytest.approx(6.666_666_667),
        "count": 5,
        "hazardous": False,
        "tier": "stop",
        "name": "HB-104",
        "note": "two\nlines",
        "stops": [{"place": "Vinterby depot", "door_open_min": 25.0}],
    }
    assert type(serializer.validated_data["count"]) is int
