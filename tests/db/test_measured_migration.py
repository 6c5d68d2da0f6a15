"""What readings told of a unit survives the change of its form, there and back."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from fleet.models import Fleet, UnitState
from tests.db.conftest import post
from tests.factories import make_unit, reading

NOW = datetime(2027, 1, 12, 6, 0, tzinfo=UTC)
BEFORE, AS_TEXT, AFTER = (
    ("fleet", name) for name in ("0004_names_for_operators", "0006_newest_apart", "0007_newest_packed")
)


def migrate(target: tuple[str, str]) -> Any:
    """The fleet's models as of this migration."""
    executor = MigrationExecutor(connection)
    executor.migrate([target])
    return executor.loader.project_state([target]).apps


def told(fleet: Fleet) -> list[Any]:
    states = UnitState.objects.for_fleet(fleet).order_by("unit_id")
    return [(state.values, state.told, state.facts, state.newest_at, state.version) for state in states]


@pytest.fixture
def told_before(tarn: Fleet) -> list[Any]:
    for number in ("HB-1", "HB-2", "HB-3"):
        make_unit(tarn, number)
    ms = timedelta(milliseconds=1)
    post(
        tarn,
        reading(NOW - 7 * ms, unit="HB-1"),
        reading(NOW, unit="HB-1", source="gateway/b", cargo_c=None, unit_on=False),
        reading(NOW, unit="HB-2", latitude=60.1, longitude=24.9, speed_km_h=80.0),
        now=NOW,
    )
    return told(tarn)


@pytest.mark.django_db(transaction=True)
def test_the_state_of_units_is_the_same_after_going_back_and_forth(tarn: Fleet, told_before: list[Any]) -> None:
    at, source = "2027-01-12T06:00:00.000000Z", "gateway/b"
    try:
        states = migrate(BEFORE).get_model("fleet", "UnitState")._base_manager
        first = states.get(unit__number="HB-1")
        assert first.values["fuel_l"] == [150.0, at, source]
        assert first.values["cargo_c"] == [8.0, "2027-01-12T05:59:59.993000Z", "gateway/yard-3"]
        assert first.facts["fleet.first_off"] == [True, at, source]
        assert set(first.facts) == {"fleet.first_off", "fleet.last_on", "fleet.first_engine_hours"}
        assert states.get(unit__number="HB-3").values == {}
    finally:
        migrate(AFTER)
    assert told(tarn) == told_before


@pytest.mark.django_db(transaction=True)
def test_the_newest_group_is_the_same_after_having_been_text(tarn: Fleet, told_before: list[Any]) -> None:
    try:
        states = migrate(AS_TEXT).get_model("fleet", "UnitState")._base_manager
        at, source, values = json.loads(states.get(number="HB-2").newest)
        assert (at, source) == ("2027-01-12T06:00:00.000000Z", "gateway/yard-3")
        assert (values["latitude"], values["speed_km_h"], values["unit_on"]) == (60.1, 80.0, True)
        assert states.get(number="HB-3").newest == ""
    finally:
        migrate(AFTER)
    assert told(tarn) == told_before
