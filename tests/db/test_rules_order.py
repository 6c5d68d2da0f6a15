"""Any order and any repetition of the same events ends in the same readings and the same unit state."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.ingest.fields import FIELD_NAMES
from fleet.models import Fleet, QuarantinedEvent, Reading, UnitState
from tests.db.conftest import post
from tests.factories import make_fleet, make_unit, reading

NOW = datetime(2027, 1, 12, 6, 0, tzinfo=UTC)
_counter = itertools.count()

instants = st.integers(0, 5).map(lambda n: NOW - timedelta(minutes=7 * n))
sources = st.sampled_from(["gateway/a", "gateway/b"])
units = st.sampled_from(["HB-1", "HB-2"])
partial = st.fixed_dictionaries(
    {},
    optional={
        "return_air_c": st.floats(-5, 15).map(lambda v: round(v, 1)),
        "fuel_l": st.floats(0, 190).map(lambda v: round(v, 1)),
        "unit_on": st.booleans(),
        "door_open": st.booleans(),
    },
).filter(bool)


@st.composite
def streams(draw: st.DrawFn) -> tuple[list[dict[str, Any]], list[list[dict[str, Any]]]]:
    """A clean stream in order of time, and the same events permuted, repeated and cut into batches."""
    keys = draw(st.lists(st.tuples(instants, sources, units), min_size=1, max_size=8, unique=True))
    clean = []
    for at, source, unit in sorted(keys):
        data = draw(partial)
        empty: dict[str, Any] = dict.fromkeys(FIELD_NAMES)
        clean.append(reading(at, unit=unit, source=source, id_=f"{at}{source}{unit}", **(empty | data)))
    repeats = draw(st.lists(st.sampled_from(clean), max_size=6))
    shuffled = draw(st.permutations(clean + repeats))
    cut = draw(st.integers(1, len(shuffled)))
    return clean, [list(shuffled[:cut]), list(shuffled[cut:])]


def outcome(fleet: Fleet) -> tuple[list[Any], list[Any]]:
    rows = Reading.objects.for_fleet(fleet).order_by("unit__number", "at", "source__name")
    states = UnitState.objects.for_fleet(fleet).select_related("unit").order_by("unit__number")
    return (
        list(rows.values_list("unit__number", "at", "source__name", "content_hash", *FIELD_NAMES)),
        [(state.unit.number, state.values, state.told, state.facts, state.newest_at) for state in states],
    )


def run(batches: list[list[dict[str, Any]]]) -> tuple[list[Any], list[Any]]:
    fleet = make_fleet(f"order-{next(_counter)}", "Order")
    for number in ("HB-1", "HB-2"):
        make_unit(fleet, number)
    for batch in batches:
        if batch:
            post(fleet, *batch, now=NOW)
    assert not QuarantinedEvent.objects.for_fleet(fleet).exists()
    return outcome(fleet)


@pytest.mark.django_db
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(stream=streams())
def test_any_order_and_repetition_ends_in_the_same_rows(
    db: None, stream: tuple[list[dict[str, Any]], list[list[dict[str, Any]]]]
) -> None:
    clean, messy = stream
    assert run([[event] for event in clean]) == run(messy)
