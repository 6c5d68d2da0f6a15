"""A live stream moves its units without locking or reading anything before: what that rests on, and what it must not
break."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from importlib import import_module

import numpy as np
import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from fleet.arrays import Bigints, ManyBytes, Moments, bytes_of_each
from fleet.models import Fleet, Reading, Unit, UnitState
from fleet.units.state import lock_states
from tests.db.conftest import in_threads, post
from tests.factories import make_fleet, make_unit, reading

NOW = datetime(2027, 1, 12, 6, 0, tzinfo=UTC)
S = timedelta(seconds=1)
on_postgresql = pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has one lock and no arrays")


def newest_of(fleet: Fleet) -> dict[str, datetime | None]:
    return dict(UnitState.objects.for_fleet(fleet).values_list("number", "newest_at"))


@contextmanager
def without_looking_back() -> Iterator[None]:
    """Nothing that was told before is read."""
    with CaptureQueriesContext(connection) as captured:
        yield
    assert not [query["sql"] for query in captured if "tank_l" in query["sql"]]


@pytest.mark.django_db
def test_what_a_unit_kept_while_it_had_no_connection_goes_the_swift_way(tarn: Fleet) -> None:
    """Many readings of one unit in one batch, in any order, and one of another."""
    for number in ("HB-1", "HB-2"):
        make_unit(tarn, number)
    post(tarn, reading(NOW, unit="HB-1"), reading(NOW, unit="HB-2"), now=NOW)
    kept = [reading(NOW + i * S, unit="HB-1", fuel_l=100.0 - i) for i in (3, 1, 5, 2, 4)]
    with without_looking_back():
        answer = post(tarn, *kept, reading(NOW + S, unit="HB-2"), now=NOW + 9 * S)
    assert (answer.accepted, answer.items) == (6, [])
    assert newest_of(tarn) == {"HB-1": NOW + 5 * S, "HB-2": NOW + S}
    state = UnitState.objects.for_fleet(tarn).get(number="HB-1")
    assert state.values["fuel_l"][0] == 95.0
    assert Reading.objects.for_fleet(tarn).count() == 8


@pytest.mark.django_db
def test_a_time_told_with_an_offset_is_the_same_moment(tarn: Fleet) -> None:
    make_unit(tarn)
    post(tarn, reading(NOW), now=NOW)
    with without_looking_back():
        assert post(tarn, reading(NOW + S) | {"time": "2027-01-12T08:00:01+02:00"}, now=NOW + S).accepted == 1
    state = UnitState.objects.for_fleet(tarn).get()
    assert (state.newest_at, state.values["fuel_l"][1]) == (NOW + S, "2027-01-12T06:00:01.000000Z")


@pytest.mark.django_db
def test_readings_of_which_one_may_be_known_are_looked_up(tarn: Fleet) -> None:
    make_unit(tarn)
    post(tarn, reading(NOW), now=NOW)
    answer = post(tarn, reading(NOW), reading(NOW + S), now=NOW)
    assert [item.status for item in answer.items] == ["duplicate"]
    assert newest_of(tarn) == {"HB-104": NOW + S}


@pytest.mark.django_db
def test_a_number_that_passes_to_another_unit_takes_its_readings_with_it(tarn: Fleet) -> None:
    """Failing sequence: the process remembers the first unit's id and stores the second one's readings there."""
    old, new = make_unit(tarn, "HB-1"), make_unit(tarn, "HB-2")
    post(tarn, reading(NOW, unit="HB-1"), reading(NOW, unit="HB-2"), now=NOW)
    for unit, number in ((old, "HB-0"), (new, "HB-1")):
        Unit.objects.for_fleet(tarn).filter(pk=unit.pk).update(number=number)
        UnitState.objects.for_fleet(tarn).filter(pk=unit.pk).update(number=number)
    assert post(tarn, reading(NOW + S, unit="HB-1"), now=NOW).accepted == 1
    assert newest_of(tarn) == {"HB-0": NOW, "HB-1": NOW + S}
    with without_looking_back():
        post(tarn, reading(NOW + 2 * S, unit="HB-1"), now=NOW + S)
    assert newest_of(tarn) == {"HB-0": NOW, "HB-1": NOW + 2 * S}


@pytest.mark.django_db
def test_units_of_one_number_in_two_fleets_are_two(tarn: Fleet) -> None:
    other = make_fleet("other", "Other")
    for fleet in (tarn, other):
        make_unit(fleet)
        post(fleet, reading(NOW), now=NOW)
    post(other, reading(NOW + S), now=NOW)
    assert (newest_of(tarn), newest_of(other)) == ({"HB-104": NOW}, {"HB-104": NOW + S})


@on_postgresql
@pytest.mark.django_db(transaction=True)
def test_a_batch_holds_none_of_its_units_while_it_waits_for_one(tarn: Fleet, caplog: pytest.LogCaptureFixture) -> None:
    """Failing sequence: the batch has moved HB-2 and waits for HB-1, whose holder waits for HB-2."""
    first, second = make_unit(tarn, "HB-1"), make_unit(tarn, "HB-2")
    post(tarn, reading(NOW, unit="HB-1"), reading(NOW, unit="HB-2"), now=NOW)
    held, waiting = threading.Event(), threading.Event()

    def holder() -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET LOCAL lock_timeout = '5s'")
            lock_states([first.pk])
            held.set()
            assert waiting.wait(5)
            wait_until_somebody_waits()
            lock_states([second.pk])

    def batch() -> int:
        assert held.wait(5)
        waiting.set()
        late = reading(NOW - S, unit="HB-1")
        return post(tarn, late, reading(NOW + S, unit="HB-2"), now=NOW + S).accepted

    caplog.set_level("INFO", logger="fleet.retry")
    assert in_threads(holder, batch) == [None, 2]
    assert caplog.messages == [], "the database had to end a deadlock"
    assert newest_of(tarn) == {"HB-1": NOW, "HB-2": NOW + S}


def wait_until_somebody_waits() -> None:
    for _ in range(100):
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(*), pg_sleep(0.05) FROM pg_locks l JOIN pg_stat_activity a USING (pid)"
                " WHERE NOT l.granted AND a.datname = current_database()"
            )
            if cursor.fetchone()[0]:
                return
    raise AssertionError("nobody waits")


@on_postgresql
@pytest.mark.django_db
def test_the_database_reads_arrays_as_they_were_written(monkeypatch: pytest.MonkeyPatch) -> None:
    numbers = np.array([1, -2, 2**62])
    micros = np.array([NOW.timestamp() * 1e6 + 123457, 0], dtype=np.int64)
    records = np.array([b'a"\\,', b"{}\x00\xff"], dtype="V4")
    for debug in (False, True):  # statements that are kept for a log are written as text as well
        monkeypatch.setattr(connection, "force_debug_cursor", debug)
        with connection.cursor() as cursor:
            cursor.execute("SELECT %s, %s, %s", [Bigints(numbers), Moments(micros), ManyBytes(records)])
            read = cursor.fetchone()
        moments = [NOW + timedelta(microseconds=123457), datetime(1970, 1, 1, tzinfo=UTC)]
        assert read == (numbers.tolist(), moments, bytes_of_each(records))
    assert "2027-01-12T06:00:00.123457Z" in connection.queries[-1]["sql"]
    with connection.cursor() as cursor:  # the form for people is one that the database would read as well
        cursor.execute("SELECT %s::bytea[]", [ManyBytes(records).text().decode()])
        assert cursor.fetchone()[0] == bytes_of_each(records)


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL has statistics")
@pytest.mark.django_db
@pytest.mark.parametrize("sql", ["numbers._LOCK", "numbers._LOOK_UP", "told._WHICH_SQLITE"])
def test_the_units_of_a_batch_are_each_looked_up_by_an_index(sql: str) -> None:
    """SQLite left to itself goes through all units of the fleet for each unit of the batch."""
    module, name = sql.split(".")
    statement = getattr(import_module(f"fleet.units.{module}"), name)
    text = statement if isinstance(statement, str) else statement["sqlite"]
    values = ["[]", 1] if name == "_LOOK_UP" else [1, "gateway/a", "[]", 1]
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {text}", values)
        steps = [row[3] for row in cursor.fetchall()]
    assert steps[0].startswith("SCAN n ")
    assert any(step.startswith("SEARCH s USING") and ("number=?" in step or "unit_id=?" in step) for step in steps)
