"""Reads of trips and of what they name."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import Q

from fleet.errors import NotFound
from fleet.models import Commodity, Trip, Unit
from fleet.trips.due import lock_trip


def commodities_by_key(fleet_id: int, keys: Collection[str]) -> dict[str, Commodity]:
    """Built-in and own commodities of these keys; a fleet's own row hides the built-in one."""
    rows = (
        Commodity.objects.across_fleets()
        .filter(Q(fleet_id=fleet_id) | Q(fleet__isnull=True), key__in=keys)
        .order_by("fleet_id")
    )
    found: dict[str, Commodity] = {}
    for row in rows:
        if row.key not in found or row.fleet_id is not None:
            found[row.key] = row
    return found


def trip_of(fleet_id: int, reference: str) -> Trip:
    """*Raises* NotFound."""
    trip: Trip | None = (
        Trip.objects.for_fleet(fleet_id)
        .select_related("planned_unit", "assigned_unit")
        .filter(reference=reference)
        .first()
    )
    if trip is None:
        raise NotFound("There is no such trip.")
    return trip


def locked_trip_of(fleet_id: int, reference: str) -> Trip:
    """The trip's row under lock; lock its units' states first."""
    return lock_trip(trip_of(fleet_id, reference).pk)


def unit_of(fleet_id: int, number: str) -> Unit:
    """*Raises* NotFound."""
    unit: Unit | None = Unit.objects.for_fleet(fleet_id).select_related("model", "state").filter(number=number).first()
    if unit is None:
        raise NotFound("There is no such unit.")
    return unit
