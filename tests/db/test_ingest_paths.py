"""However events are cut into batches, each is answered and stored as if it had come alone."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any
from unittest import mock

import orjson
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.ingest.batch import BatchAnswer
from fleet.ingest.careful import first_content_hash
from fleet.ingest.fields import FIELD_NAMES
from fleet.ingest.parse import split_batch
from fleet.metrics import EVENT_LAG
from fleet.models import Fleet, QuarantinedEvent, Reading, UnitState
from tests.db.conftest import post
from tests.factories import fault, make_fleet, make_model, make_unit, reading

NOW = datetime(2027, 1, 12, 6, 0, tzinfo=UTC)
S = timedelta(seconds=1)
_counter = itertools.count()
pytestmark = pytest.mark.django_db

changes = st.sampled_from(
    [
        {},
        {"ambient_c": {"value": 14, "unit": "degF"}},
        {"ambient_c": -10.0},
        {"cargo_c": None, "speed_km_h": None},
        {"latitude": 60.1, "longitude": 24.9},
        {"fuel_l": None, "fuel_pct": 50.0},
        {"fuel_l": -1.0},
        {"unit_on": False},
    ]
)
kinds = st.sampled_from(["plain", "plain", "plain", "typed", "extended", "fault", "ahead", "unknown unit", "no tank"])


@st.composite
def events(draw: st.DrawFn) -> list[dict[str, Any]]:
    made = []
    for _ in range(draw(st.integers(1, 8))):
        at, source = NOW - draw(st.integers(0, 3)) * S, draw(st.sampled_from(["gateway/a", "gateway/b"]))
        unit, kind = draw(st.sampled_from(["HB-1", "HB-2"])), draw(kinds)
        if kind == "fault":
            made.append(fault(at, "coolant-hot-2", unit=unit, id_=draw(st.sampled_from("xy"))))
            continue
        event = reading(at, unit=unit, source=source, id_=f"{len(made)}", **draw(changes))
        if kind == "ahead":
            event = reading(NOW + timedelta(hours=1), unit=unit, source=source)
        elif kind in ("unknown unit", "no tank"):
            event |= {"subject": "HB-9" if kind == "unknown unit" else "HB-3"}
        elif kind == "extended":
            event |= {"traceparent": 'with \\ and "'}
        elif kind == "typed":
            event |= {"datacontenttype": "application/json"}
        made.append(event)
    return made


def outcome(fleet: Fleet) -> tuple[Any, ...]:
    rows = Reading.objects.for_fleet(fleet).order_by("unit__number", "at", "source__name")
    states = UnitState.objects.for_fleet(fleet).select_related("unit").order_by("unit__number")
    held = QuarantinedEvent.objects.for_fleet(fleet).order_by("code", "raw_hash")
    return (
        list(rows.values_list("unit__number", "at", "source__name", "content_hash", *FIELD_NAMES)),
        [(state.unit.number, state.values, state.told, state.newest_at) for state in states],
        list(held.values_list("code", "raw", "pointer", "times_received")),
    )


def place() -> Fleet:
    fleet = make_fleet(f"paths-{next(_counter)}", "Paths")
    for number in ("HB-1", "HB-2"):
        make_unit(fleet, number)
    make_unit(fleet, "HB-3", make_model(fleet, "untold", tank_l=None))
    return fleet


def plainly(answer: BatchAnswer) -> tuple[int, int, int]:
    return answer.accepted, answer.count("duplicate"), answer.count("quarantined")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(stream=events(), cut=st.integers(0, 8))
def test_a_mixed_batch_is_as_good_as_its_events_one_by_one(db: None, stream: list[dict[str, Any]], cut: int) -> None:
    alone, together = place(), place()
    told = [plainly(post(alone, event, now=NOW)) for event in stream]
    batches = [part for part in (stream[:cut], stream[cut:]) if part]
    told_together = [plainly(post(together, *part, now=NOW)) for part in batches]
    assert [sum(counts) for counts in zip(*told, strict=True)] == [sum(c) for c in zip(*told_together, strict=True)]
    assert outcome(alone) == outcome(together)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(stream=events(), cut=st.integers(0, 8))
def test_what_goes_through_as_columns_comes_to_the_same(db: None, stream: list[dict[str, Any]], cut: int) -> None:
    swift, general = place(), place()
    batches = [part for part in (stream[:cut], stream[cut:]) if part]
    told = [plainly(post(swift, *part, now=NOW)) for part in batches]
    with mock.patch("fleet.ingest.service.take_newest", lambda batch: range(len(batch.items))):
        assert told == [plainly(post(general, *part, now=NOW)) for part in batches]
    assert outcome(swift) == outcome(general)


def test_a_live_stream_is_taken_without_reading_what_was_told_before(tarn: Fleet) -> None:
    for number in ("HB-1", "HB-2"):
        make_unit(tarn, number)

    def documents_read(second: int, **changes: Any) -> int:
        at = NOW + second * S
        with CaptureQueriesContext(connection) as captured:
            post(tarn, reading(at, unit="HB-1", **changes), reading(at, unit="HB-2"), now=at)
        return sum("tank_l" in query["sql"] for query in captured)

    place_ = {"latitude": 60.1, "longitude": 24.9}
    assert [documents_read(1), documents_read(2), documents_read(3, **place_), documents_read(4, **place_)] == [
        1,
        0,
        1,
        0,
    ]
    assert [documents_read(5, unit_on=False), documents_read(6, unit_on=False)] == [1, 0]
    state = UnitState.objects.for_fleet(tarn).get(unit__number="HB-1")
    assert state.told["fleet.last_on"][1] == "2027-01-12T06:00:04.000000Z"
    assert state.told["fleet.first_off"][1] == "2027-01-12T06:00:05.000000Z"
    assert state.values["position"][:2] == [[60.1, 24.9], "2027-01-12T06:00:04.000000Z"]
    assert state.values["fuel_l"][1] == "2027-01-12T06:00:06.000000Z"


def test_a_reading_stored_by_an_earlier_release_is_known_again(tarn: Fleet) -> None:
    make_unit(tarn)
    event = reading(NOW, latitude=60.1, longitude=24.9)
    post(tarn, event, now=NOW)
    (item,) = split_batch(orjson.dumps([event]))
    assert item.values is not None
    Reading.objects.for_fleet(tarn).update(content_hash=first_content_hash(item.values))
    assert post(tarn, event, now=NOW).count("duplicate") == 1
    (refused,) = post(tarn, event | {"data": event["data"] | {"fuel_l": 1.0}}, now=NOW).items
    assert refused.code == "contradiction"


@pytest.mark.parametrize("changed", [{}, {"fuel_l": 1.0}])
def test_readings_that_are_newer_than_their_units_state_are_still_known(tarn: Fleet, changed: dict[str, Any]) -> None:
    """Rows restored from a backup beside the service: the state does not know of them."""
    unit = make_unit(tarn)
    before = UnitState.objects.for_fleet(tarn).get(unit=unit)
    post(tarn, reading(NOW), now=NOW)
    UnitState.objects.for_fleet(tarn).update(measured=before.measured, newest=b"", shape=0, newest_at=None)
    answer = post(tarn, reading(NOW, **changed), reading(NOW - S, id_="other"), now=NOW)
    assert answer.accepted == 1
    assert [item.status for item in answer.items] == ["quarantined" if changed else "duplicate"]
    assert Reading.objects.for_fleet(tarn).count() == 2


def test_a_batch_of_any_size_costs_the_same_statements_whatever_is_wrong_with_it(tarn: Fleet) -> None:
    for number in range(20):
        make_unit(tarn, f"HB-{number}")

    def statements(units: int, second: int) -> int:
        at = NOW + second * S
        good = [reading(at, unit=f"HB-{number}") for number in range(units)]
        late = [reading(NOW - second * S, unit=f"HB-{number}", id_="l") for number in range(units)]
        bad = [reading(at, unit=f"XX-{number}", id_=f"{second}") for number in range(units)]
        with CaptureQueriesContext(connection) as captured:
            answer = post(tarn, *good, *late, *bad, *good, now=NOW + timedelta(minutes=5))
        assert plainly(answer) == (2 * units, units, units)
        return len(captured)

    statements(1, 1)
    assert statements(2, 2) == statements(20, 3)


def test_a_batch_is_observed_event_by_event(tarn: Fleet) -> None:
    make_unit(tarn)

    def seen() -> dict[str, float]:
        (metric,) = EVENT_LAG.collect()
        return {f"{one.name}{one.labels.get('le', '')}": one.value for one in metric.samples}

    before = seen()
    ages = [0, 1, 2, 61, 200_000]
    post(tarn, *[reading(NOW - age * S, id_=f"{age}") for age in ages], reading(NOW + 3 * S, id_="fast"), now=NOW)
    gained = {name.removeprefix("warmgate_event_lag_seconds_"): value - before[name] for name, value in seen().items()}
    expected = {"bucket1.0": 3, "bucket5.0": 4, "bucket60.0": 4, "bucket300.0": 5, "bucket+Inf": 6, "count": 6}
    assert {name: gained[name] for name in expected} == expected
    assert gained["sum"] == pytest.approx(sum(ages))
