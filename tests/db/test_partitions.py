"""Months of readings: made ahead, rows that came early are moved, old ones go as a whole."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection

from fleet.chores import drop_old_readings
from fleet.models import Fleet, Reading
from fleet.partitions import drop_partitions_before, ensure_partitions, month_name, next_month
from tests.db.conftest import post
from tests.factories import make_unit, reading

NOW = datetime(2027, 1, 31, 23, 30, tzinfo=UTC)
needs_partitions = pytest.mark.skipif(connection.vendor != "postgresql", reason="only PostgreSQL has partitions")


@pytest.mark.parametrize(
    ("at", "months", "expected"),
    [
        (NOW, 1, datetime(2027, 2, 1, tzinfo=UTC)),
        (NOW, 12, datetime(2028, 1, 1, tzinfo=UTC)),
        (NOW, -1, datetime(2026, 12, 1, tzinfo=UTC)),
        (NOW, -13, datetime(2025, 12, 1, tzinfo=UTC)),
        (datetime(2028, 2, 29, tzinfo=UTC), 0, datetime(2028, 2, 1, tzinfo=UTC)),
    ],
)
def test_months_are_counted_over_the_turn_of_the_year(at: datetime, months: int, expected: datetime) -> None:
    assert next_month(at, months) == expected


@needs_partitions
def test_rows_that_came_before_their_month_was_made_are_moved_into_it(tarn: Fleet) -> None:
    make_unit(tarn)
    post(tarn, reading(NOW), now=NOW)
    names = ensure_partitions(now=NOW, ahead=2)
    assert names == [month_name(next_month(NOW, step)) for step in range(3)]
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {names[0]}")
        assert cursor.fetchone()[0] == 1
        cursor.execute("SELECT count(*) FROM fleet_reading_default")
        assert cursor.fetchone()[0] == 0
    assert ensure_partitions(now=NOW, ahead=2) == []
    post(tarn, reading(NOW + timedelta(hours=1)), now=NOW + timedelta(hours=1))
    assert Reading.objects.for_fleet(tarn).count() == 2
    assert drop_partitions_before(next_month(NOW)) == [names[0]]
    assert Reading.objects.for_fleet(tarn).count() == 1


def test_readings_older_than_the_months_kept_go(tarn: Fleet) -> None:
    make_unit(tarn)
    old = next_month(NOW, -13) - timedelta(seconds=1)
    for at in (old, old + timedelta(seconds=1), NOW):
        post(tarn, reading(at), now=NOW)
    assert drop_old_readings(NOW) == 1
    assert Reading.objects.for_fleet(tarn).count() == 2
