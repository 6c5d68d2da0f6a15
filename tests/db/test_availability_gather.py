"""Which trips hold a unit: the same answer for a few units, which are parameters, and for many, which are one text."""

from __future__ import annotations

from datetime import datetime

import pytest
from msgspec.structs import replace

from fleet.checks.availability import FEW, gather
from fleet.models import Fleet, Member, Trip, Unit
from tests import factories
from tests.db.conftest import plan
from tests.unit.facts import facts, unit_facts

pytestmark = pytest.mark.django_db


@pytest.fixture
def units(tarn: Fleet, dispatcher: Member, now: datetime) -> list[Unit]:
    """One unit planned, one planned and exchanged for another, one with a trip that is over, one with none."""
    factories.potato()
    made = [factories.make_unit(tarn, f"HB-{n}") for n in range(5)]
    for n in (0, 1, 3):
        plan(tarn, dispatcher, now, reference=f"T-{n}", unit=f"HB-{n}")
    of = Trip.objects.for_fleet(tarn)
    of.filter(reference="T-1").update(assigned_unit=made[2], state=Trip.State.UNDER_WAY)
    of.filter(reference="T-3").update(assigned_unit=made[3], state=Trip.State.DELIVERED)
    return made


@pytest.mark.parametrize("others", [0, FEW], ids=["few", "many"])
def test_a_unit_is_held_by_its_live_trips(units: list[Unit], tarn: Fleet, now: datetime, others: int) -> None:
    asked = [unit.pk for unit in units] + [10_000_000 + i for i in range(others)]
    many = [replace(facts(reference="T-9"), fleet_id=tarn.pk, unit=unit_facts(id=pk)) for pk in asked]
    found = gather(many, now)
    held = {key[1]: [one.reference for one in engagements] for key, engagements in found.items() if engagements}
    assert held == {units[0].pk: ["T-0"], units[2].pk: ["T-1"]}


def test_another_fleets_trips_hold_nothing(units: list[Unit], other: Fleet, now: datetime) -> None:
    many = [replace(facts(reference="T-9"), fleet_id=other.pk, unit=unit_facts(id=unit.pk)) for unit in units]
    assert not any(gather(many, now).values())
