"""POST /api/v1/events/: hostile payloads first, then per-item answers, partial batches and the quarantine."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Fleet, QuarantinedEvent, Reading, Role, UnitState
from tests import factories
from tests.conftest import Client
from tests.factories import fault, instant, reading

pytestmark = pytest.mark.django_db
URL = "/api/v1/events/"
BATCH_TYPE = "application/cloudevents-batch+json"
Post = Callable[..., dict[str, Any]]


@pytest.fixture(autouse=True)
def unit(tarn: Fleet) -> None:
    factories.make_unit(tarn)


@pytest.fixture
def sender(client_of: Client, tarn: Fleet) -> APIClient:
    return client_of(tarn, Role.INTEGRATOR)


def send(client: APIClient, body: bytes, content_type: str = BATCH_TYPE) -> Any:
    return client.generic("POST", URL, body, content_type=content_type)


# --- bodies that are no batch: nothing is stored ----------------------------------------------------------------------

NO_BATCH: dict[str, tuple[bytes, str, int, str]] = {
    "empty": (b"", BATCH_TYPE, 400, "malformed-body"),
    "blank": (b"  ", BATCH_TYPE, 400, "malformed-body"),
    "words": (b"hello", BATCH_TYPE, 400, "malformed-body"),
    "one event, not in a list": (b'{"specversion":"1.0"}', BATCH_TYPE, 400, "malformed-body"),
    "null": (b"null", BATCH_TYPE, 400, "malformed-body"),
    "a string": (b'"[]"', BATCH_TYPE, 400, "malformed-body"),
    "cut off": (b'[{"specversion":"1.0"', BATCH_TYPE, 400, "malformed-body"),
    "two documents": (b"[][]", BATCH_TYPE, 400, "malformed-body"),
    "NaN": (b'[{"data":{"fuel_l":NaN}}]', BATCH_TYPE, 400, "malformed-body"),
    "Infinity": (b'[{"data":{"fuel_l":-Infinity}}]', BATCH_TYPE, 400, "malformed-body"),
    "a comment": (b"[/* none */]", BATCH_TYPE, 400, "malformed-body"),
    "half a surrogate pair": (b'[{"id":"\\ud800"}]', BATCH_TYPE, 400, "malformed-body"),
    "a trailing comma": (b"[1,]", BATCH_TYPE, 400, "malformed-body"),
    "a hundred thousand brackets": (b"[" * 100_000, BATCH_TYPE, 400, "malformed-body"),
    "a byte order mark": (b"\xef\xbb\xbf[]", BATCH_TYPE, 400, "malformed-body"),
    "UTF-16": ("[]".encode("utf-16"), BATCH_TYPE, 400, "malformed-body"),
    "1001 events": (b"[" + b",".join([b"{}"] * 1001) + b"]", BATCH_TYPE, 413, "too-large"),
    "over a mebibyte": (b'["' + b"x" * (1 << 20) + b'"]', BATCH_TYPE, 413, "too-large"),
    "a form": (b"a=1", "application/x-www-form-urlencoded", 415, "unsupported-media-type"),
    "plain text": (b"[]", "text/plain", 415, "unsupported-media-type"),
    "a single event's media type": (b"{}", "application/cloudevents+json", 415, "unsupported-media-type"),
    "another charset": (b"[]", f"{BATCH_TYPE}; charset=latin-1", 415, "unsupported-media-type"),
}


@pytest.mark.parametrize(("body", "content_type", "status", "code"), NO_BATCH.values(), ids=NO_BATCH)
def test_a_body_that_is_no_batch_is_refused_whole(
    sender: APIClient, body: bytes, content_type: str, status: int, code: str
) -> None:
    response = send(sender, body, content_type)
    assert (response.status_code, response.json()["type"]) == (status, f"/docs/problems/{code}/")
    assert response["Content-Type"] == "application/problem+json"
    assert QuarantinedEvent.objects.across_fleets().count() == 0


@pytest.mark.parametrize("content_type", [BATCH_TYPE, "application/json", f"{BATCH_TYPE}; charset=UTF-8"])
def test_an_empty_batch_is_a_batch(sender: APIClient, content_type: str) -> None:
    response = send(sender, b"[]", content_type)
    assert response.status_code == 207
    assert response.json() == {"received": 0, "accepted": 0, "duplicate": 0, "quarantined": 0, "items": []}


# --- items that are no event: each costs itself -----------------------------------------------------------------------


def raw(at: datetime, **changes: Any) -> str:
    """A reading of 5.5 °C as JSON text, with members replaced; None takes one away."""
    event: dict[str, Any] = {
        "specversion": "1.0", "id": "h-1", "source": "gateway/yard-3", "type": "unit.reading.v1", "subject": "HB-104",
        "time": instant(at), "data": {"return_air_c": 5.5},
    }  # fmt: skip
    return json.dumps({key: value for key, value in (event | changes).items() if value is not None})


def put(member: str, text: str) -> Callable[[datetime], str]:
    """The event with *member* of its data (or of itself) spelled as *text*."""

    def make(at: datetime) -> str:
        if member.startswith("data."):
            return raw(at, data={"@": 0}).replace('"@": 0', f'"{member[5:]}": {text}')
        return raw(at, **{member: "@@"}).replace('"@@"', text)

    return make


HOSTILE: dict[str, tuple[Callable[[datetime], str], str, str]] = {
    "a number": (lambda at: "1", "bad-value", ""),
    "null": (lambda at: "null", "bad-value", ""),
    "a list": (lambda at: "[]", "bad-value", ""),
    "an empty object": (lambda at: "{}", "bad-value", "/specversion"),
    "another specversion": (put("specversion", '"0.3"'), "bad-value", "/specversion"),
    "specversion as a number": (put("specversion", "1.0"), "bad-value", "/specversion"),
    "no id": (lambda at: raw(at, id=None), "bad-value", "/id"),
    "an empty id": (put("id", '""'), "bad-value", "/id"),
    "a numeric id": (put("id", "7"), "bad-value", "/id"),
    "an id of 201 characters": (put("id", f'"{"x" * 201}"'), "bad-value", "/id"),
    "NUL in the id": (put("id", '"a\\u0000b"'), "bad-value", "/id"),
    "a line break at the end of the id": (put("id", '"a\\n"'), "bad-value", "/id"),
    "NUL in the source": (put("source", '"\\u0000"'), "bad-value", "/source"),
    "NUL in the subject": (put("subject", '"HB\\u0000"'), "bad-value", "/subject"),
    "NUL in the type": (put("type", '"unit.reading.v1\\u0000"'), "bad-value", "/type"),
    "no subject": (lambda at: raw(at, subject=None), "bad-value", "/subject"),
    "no data": (lambda at: raw(at, data=None), "bad-value", "/data"),
    "a type nobody takes": (put("type", '"unit.song.v1"'), "unknown-type", "/type"),
    "no time": (lambda at: raw(at, time=None), "bad-value", "/time"),
    "a naive time": (put("time", '"2027-01-12T05:40:00"'), "bad-value", "/time"),
    "a date": (put("time", '"2027-01-12"'), "bad-value", "/time"),
    "seconds since 1970": (put("time", "1799732400"), "bad-value", "/time"),
    "the thirteenth month": (put("time", '"2027-13-12T05:40:00Z"'), "bad-value", "/time"),
    "the year 1": (put("time", '"0001-01-01T00:00:00+14:00"'), "time-too-old", "/time"),
    "the year 1999": (put("time", '"1999-12-31T23:59:59Z"'), "time-too-old", "/time"),
    "the year 9999": (put("time", '"9999-12-31T23:59:59-14:00"'), "time-ahead", "/time"),
    "eleven minutes ahead": (lambda at: raw(at + timedelta(minutes=11)), "time-ahead", "/time"),
    "an unknown unit": (put("subject", '"HB-999"'), "unknown-unit", "/subject"),
    "a key twice": (put("id", '"a", "id": "b"'), "duplicate-key", ""),
    "a key twice, spelled differently": (put("id", '"a", "\\u0069d": "b"'), "duplicate-key", ""),
    "a key twice in the data": (put("data.fuel_l", '1, "fuel_l": 2'), "duplicate-key", ""),
    "nested deeper than sixteen": (put("extension", "[" * 16 + "]" * 16), "too-deep", ""),
    "nested nine hundred deep": (put("extension", "[" * 900 + "]" * 900), "too-deep", ""),
    "data is a list": (put("data", "[]"), "bad-value", "/data"),
    "data is empty": (put("data", "{}"), "empty-reading", "/data"),
    "data is all null": (put("data.fuel_l", "null"), "empty-reading", "/data"),
    "a field nobody knows": (put("data.mood", "1"), "bad-value", "/data/mood"),
    "a field with NUL in its name": (put("data.mo\\u0000od", "1"), "bad-value", "/data/mo\x00od"),
    "true as a number": (put("data.fuel_l", "true"), "bad-value", "/data/fuel_l"),
    "a number as text": (put("data.fuel_l", '"88"'), "bad-value", "/data/fuel_l"),
    "a flag as a number": (put("data.unit_on", "1"), "bad-value", "/data/unit_on"),
    "1e400": (put("data.fuel_l", "1e400"), "bad-value", "/data/fuel_l"),
    "an integer no float holds": (put("data.fuel_l", "9" * 400), "bad-value", "/data/fuel_l"),
    "colder than any air": (put("data.ambient_c", "-90.1"), "out-of-range", "/data/ambient_c"),
    "less than no fuel": (put("data.fuel_l", "-0.1"), "out-of-range", "/data/fuel_l"),
    "an old unit": (put("data.fuel_l", '{"value": 1, "unit": "firkin"}'), "bad-unit", "/data/fuel_l/unit"),
    "another dimension": (put("data.fuel_l", '{"value": 1, "unit": "degC"}'), "bad-unit", "/data/fuel_l/unit"),
    "a quantity without unit": (put("data.fuel_l", '{"value": 1}'), "bad-value", "/data/fuel_l/unit"),
    "a quantity with more": (
        put("data.fuel_l", '{"value": 1, "unit": "L", "note": 1}'), "bad-value", "/data/fuel_l/note",
    ),
    "a quantity that is true": (
        put("data.fuel_l", '{"value": true, "unit": "L"}'), "bad-value", "/data/fuel_l/value",
    ),
    "a speed with a unit": (
        put("data.speed_km_h", '{"value": 1, "unit": "mph"}'), "bad-unit", "/data/speed_km_h/unit",
    ),
    "out of range once converted": (
        put("data.ambient_c", '{"value": 400, "unit": "degF"}'), "out-of-range", "/data/ambient_c",
    ),
    "more than a full tank": (put("data.fuel_pct", "100.1"), "out-of-range", "/data/fuel_pct"),
    "fuel said twice": (put("data.fuel_pct", '50, "fuel_l": 80'), "bad-value", "/data/fuel_pct"),
    "half a position": (put("data.latitude", "60.1"), "bad-value", "/data/latitude"),
    "a latitude beyond the pole": (put("data.latitude", '90.1, "longitude": 1'), "out-of-range", "/data/latitude"),
    "a fault that is neither raised nor cleared": (
        lambda at: raw(at, type="unit.fault.v1", data={"state": "on", "code": "x"}), "bad-value", "/data/state",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("make", "code", "pointer"), HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_item_costs_itself_and_not_its_neighbours(
    sender: APIClient, tarn: Fleet, now: datetime, make: Callable[[datetime], str], code: str, pointer: str
) -> None:
    good = [json.dumps(reading(now - timedelta(seconds=second), id_=f"g-{second}")) for second in (1, 2)]
    response = send(sender, f"[{good[0]},{make(now)},{good[1]}]".encode())
    assert response.status_code == 207, response.content
    answer = response.json()
    assert (answer["received"], answer["accepted"], answer["quarantined"]) == (3, 2, 1)
    item = next(item for item in answer["items"] if item["status"] == "quarantined")
    assert (item["index"], item["code"], item["pointer"]) == (1, code, pointer)
    kept = QuarantinedEvent.objects.for_fleet(tarn).get(pk=item["quarantine_id"])
    assert (kept.code, kept.state, kept.raw) == (code, "held", make(now))
    assert Reading.objects.for_fleet(tarn).count() == 2


@pytest.mark.parametrize("ahead", [timedelta(minutes=9), timedelta(), -timedelta(days=400)])
def test_a_clock_that_runs_a_little_fast_and_old_readings_are_taken(
    post_events: Post, now: datetime, ahead: timedelta
) -> None:
    assert post_events(reading(now + ahead))["accepted"] == 1


def test_unknown_extension_attributes_are_allowed_as_cloudevents_says(sender: APIClient, now: datetime) -> None:
    """CloudEvents 1.0, section "Extension Context Attributes": producers may add attributes of their own."""
    extended = raw(now, traceparent="00-ab", datacontenttype="application/json", nested={"a": [1]})
    assert send(sender, f"[{extended}]".encode()).json()["accepted"] == 1


# --- what is stored ---------------------------------------------------------------------------------------------------


def state(tarn: Fleet) -> dict[str, Any]:
    values: dict[str, Any] = UnitState.objects.for_fleet(tarn).get(unit__number="HB-104").values
    return {name: entry[0] for name, entry in values.items()}


@pytest.mark.parametrize(
    ("field", "quantity", "stored"),
    [
        ("ambient_c", {"value": 14, "unit": "degF"}, -10.0),
        ("set_point_c", {"value": 44.6, "unit": "degF"}, 7.0),
        ("return_air_c", {"value": 280.15, "unit": "K"}, 7.0),
        ("fuel_l", {"value": 10, "unit": "gal"}, 37.85411784),
        ("engine_hours_h", {"value": 90, "unit": "min"}, 1.5),
    ],
)
def test_quantities_with_units_are_stored_in_ours(
    post_events: Post, tarn: Fleet, now: datetime, field: str, quantity: dict[str, Any], stored: float
) -> None:
    """The US gallon is 231 cubic inches = 3.785411784 L, 0 °C = 273.15 K = 32 °F (NIST SP 811, appendix B)."""
    answer = post_events(reading(now, **{field: quantity}))
    assert answer["accepted"] == 1, answer
    assert state(tarn)[field] == pytest.approx(stored)


def test_fuel_in_per_cent_needs_a_tank(post_events: Post, tarn: Fleet, now: datetime) -> None:
    factories.make_unit(tarn, "HB-1", factories.make_model(tarn, "untold", tank_l=None))
    events = [
        reading(now, fuel_l=None, fuel_pct=50.0),
        reading(now, unit="HB-1", fuel_l=None, fuel_pct=50.0),
    ]
    answer = post_events(*events)
    assert [(item["index"], item["code"], item["retryable"]) for item in answer["items"]] == [(1, "no-tank", True)]
    assert state(tarn)["fuel_l"] == 95.0


def test_a_position_is_kept_in_the_state_only(post_events: Post, tarn: Fleet, now: datetime) -> None:
    post_events(reading(now, latitude=61.5, longitude=23.8))
    assert state(tarn)["position"] == [61.5, 23.8]
    assert "latitude" not in {field.name for field in Reading._meta.get_fields()}


def test_each_item_is_answered_by_what_became_of_it(post_events: Post, now: datetime) -> None:
    minute = timedelta(minutes=1)
    post_events(reading(now, id_="r-1"), fault(now, "coolant-hot-2", id_="f-1"))
    answer = post_events(
        reading(now, id_="r-1"),
        reading(now, id_="r-2", set_point_c=9.0),
        reading(now - minute, id_="r-3"),
        reading(now + minute, id_="r-4"),
        reading(now + minute, id_="r-5"),
        fault(now, "coolant-hot-2", id_="f-1"),
        fault(now, "belt-worn-1", id_="f-1"),
        reading(now, unit="HB-9", id_="r-6"),
    )
    assert (answer["received"], answer["accepted"], answer["duplicate"], answer["quarantined"]) == (8, 2, 3, 3)
    assert [(item["index"], item["id"], item["status"], item.get("code")) for item in answer["items"]] == [
        (0, "r-1", "duplicate", None),
        (1, "r-2", "quarantined", "contradiction"),
        (2, "r-3", "late", None),
        (4, "r-5", "duplicate", None),
        (5, "f-1", "duplicate", None),
        (6, "f-1", "quarantined", "contradiction"),
        (7, "r-6", "quarantined", "unknown-unit"),
    ]
    assert [item["retryable"] for item in answer["items"] if item["status"] == "quarantined"] == [False, False, True]


def test_two_readings_of_one_moment_that_differ_inside_a_batch_contradict(post_events: Post, now: datetime) -> None:
    answer = post_events(reading(now, id_="a"), reading(now, id_="b", fuel_l=1.0))
    assert [(item["index"], item["code"]) for item in answer["items"]] == [(1, "contradiction")]


def test_the_same_moment_from_two_sources_is_two_readings(post_events: Post, tarn: Fleet, now: datetime) -> None:
    assert post_events(reading(now), reading(now, source="gateway/yard-4", fuel_l=1.0))["accepted"] == 2
    assert state(tarn)["fuel_l"] == 1.0


def test_a_late_reading_is_stored_and_moves_only_what_it_knows_best(
    post_events: Post, tarn: Fleet, now: datetime
) -> None:
    post_events(reading(now, cargo_c=None))
    post_events(reading(now - timedelta(hours=1), cargo_c=2.0, fuel_l=10.0))
    assert (state(tarn)["cargo_c"], state(tarn)["fuel_l"]) == (2.0, 150.0)
    assert Reading.objects.for_fleet(tarn).count() == 2


def test_an_offset_is_the_same_moment(post_events: Post, now: datetime) -> None:
    event = reading(now, id_="a")
    shifted = event | {"time": now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S+00:00"), "id": "b"}
    assert post_events(event, shifted)["duplicate"] == 1
