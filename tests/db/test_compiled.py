"""A compiled query gives what its queryset gives, related rows included, in one statement."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from django.forms.models import model_to_dict

from fleet.errors import NotFound
from fleet.models import Fleet, Member, Trip
from fleet.readiness.selectors import trip_with_own_unit, trips_with_units
from tests import factories
from tests.db.conftest import plan

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("assigned", [False, True])
def test_a_trip_comes_with_its_own_unit(
    tarn: Fleet, dispatcher: Member, now: datetime, django_assert_num_queries: Callable[..., Any], assigned: bool
) -> None:
    factories.potato()
    units = [factories.make_unit(tarn, f"HB-{n}") for n in range(3)]
    trips = [plan(tarn, dispatcher, now, reference=f"T-{n}", unit=f"HB-{n}") for n in range(2)]
    Trip.objects.for_fleet(tarn).update(assigned_unit=units[2])
    for trip in trips:
        (expected,) = trips_with_units([trip.pk])
        other = expected.assigned_unit if assigned else expected.planned_unit
        with django_assert_num_queries(1):
            found = trip_with_own_unit(trip.pk, assigned=assigned)
            unit = found.assigned_unit if assigned else found.planned_unit
            assert unit is not None
            assert other is not None
            rows, others = (unit, unit.model, unit.state), (other, other.model, other.state)
            assert [model_to_dict(row) for row in rows] == [model_to_dict(row) for row in others]
            assert found.fleet.policy.version == expected.fleet.policy.version
        assert unit.number == ("HB-2" if assigned else f"HB-{trip.reference[-1]}")
        assert model_to_dict(found) == model_to_dict(expected)


def test_a_trip_that_is_gone_is_not_found(tarn: Fleet) -> None:
    with pytest.raises(NotFound):
        trip_with_own_unit(10_000_000, assigned=True)
