"""The document of what readings told: whatever their order, it says per field what a plain fold per field says."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from fleet.clock import stamp
from fleet.measured import (
    FIRST_ENGINE_HOURS,
    FIRST_OFF,
    LAST_ON,
    NOTHING,
    Measured,
    read_measured,
    shape_of,
    stored_form,
    told_of,
    values_of,
)
from fleet.packed import pack_group

NOW = datetime(2027, 1, 12, 6, 0, tzinfo=UTC)
Reading = tuple[datetime, str, dict[str, Any]]

values = st.fixed_dictionaries(
    {},
    optional={
        "return_air_c": st.floats(-90, 120),
        "engine_hours_h": st.floats(0, 500_000),
        "unit_on": st.booleans(),
        "position": st.just([60.1, 24.9]),
    },
).filter(bool)
moments = st.tuples(st.integers(0, 4).map(lambda n: NOW + timedelta(milliseconds=50 * n)), st.sampled_from("ab"))
readings = st.lists(st.tuples(moments, values), max_size=8, unique_by=lambda one: one[0]).map(
    lambda ones: [(at, source, said) for (at, source), said in ones]
)


def plain_fold(told: list[Reading]) -> tuple[dict[str, Any], dict[str, Any]]:
    """The rule in its shortest form: of each name the value with the largest, or smallest, (time, source)."""
    by_time = sorted(told, key=lambda one: one[:2])
    newest = {name: [v, stamp(at), source] for at, source, said in by_time for name, v in said.items()}
    facts: dict[str, Any] = {}
    for at, source, said in by_time:
        if said.get("unit_on"):
            facts[LAST_ON] = [True, stamp(at), source]
    for at, source, said in reversed(by_time):
        if "engine_hours_h" in said:
            facts[FIRST_ENGINE_HOURS] = [said["engine_hours_h"], stamp(at), source]
        if said.get("unit_on") is False:
            facts[FIRST_OFF] = [True, stamp(at), source]
    return newest, facts


@given(told=readings, order=st.randoms(use_true_random=False))
def test_any_order_tells_what_a_fold_per_field_tells(told: list[Reading], order: Any) -> None:
    measured = read_measured(b"", NOTHING)
    shuffled = list(told)
    order.shuffle(shuffled)
    for at, source, said in shuffled:
        measured.take(at, source, dict(said))
        measured = stored_and_read(measured)
    assert (values_of(measured), told_of(measured)) == plain_fold(told)
    assert measured.newest_at == max((at for at, _, _ in told), default=None)


@given(told=readings)
def test_a_repeat_is_no_news_and_changes_nothing(told: list[Reading]) -> None:
    measured = read_measured(b"", NOTHING)
    for at, source, said in told:
        measured.take(at, source, dict(said))
    stored = stored_form(measured)
    assert not any(measured.take(at, source, dict(said)) for at, source, said in told)
    assert stored_form(measured) == stored


def test_a_unit_that_sends_the_same_fields_has_one_group() -> None:
    measured = read_measured(b"", NOTHING)
    for minute in range(5):
        measured.take(NOW + timedelta(minutes=minute), "a", {"return_air_c": 7.0, "unit_on": True})
    assert len(measured.newest) == 1


@given(told=readings, later=values)
def test_the_newest_group_may_be_replaced_by_a_newer_reading_of_its_shape(
    told: list[Reading], later: dict[str, Any]
) -> None:
    measured = read_measured(b"", NOTHING)
    for at, source, said in told:
        measured.take(at, source, dict(said))
    measured.take(NOW + timedelta(minutes=1), "a", dict(later))
    stored, newer = stored_form(measured), NOW + timedelta(minutes=2)
    again = {name: value if isinstance(value, bool) else [1.0, 2.0] if name == "position" else 5.0
             for name, value in later.items()}  # fmt: skip
    assert shape_of(again, on=bool(again.get("unit_on"))) == stored.shape
    wire = {name: value for name, value in again.items() if name != "position"}
    if "position" in again:
        wire |= {"latitude": 1.0, "longitude": 2.0}
    replaced = read_measured(pack_group(newer, wire, "b"), stored.rest)
    measured.take(newer, "b", dict(again))
    assert replaced == measured


def test_shapes_differ_by_their_names_and_by_whether_the_unit_is_on() -> None:
    shapes = [shape_of(names, on=on) for names in ((), ("a",), ("b",), ("a", "b")) for on in (False, True)]
    assert len(set(shapes)) == len(shapes)
    assert shape_of(("b", "a"), on=True) == shapes[-1]


def stored_and_read(measured: Measured) -> Measured:
    stored = stored_form(measured)
    assert stored.newest_at == measured.newest_at
    return read_measured(stored.newest, stored.rest)
