"""Loads facts for checks: a constant number of statements, however many trips."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from django.db.models import QuerySet, TextField
from django.db.models.functions import Cast

from fleet.compiled import compiled
from fleet.errors import NotFound
from fleet.models import Trip, Unit, UnitModel
from fleet.policy import Policy
from fleet.readiness.facts import STATE_COLUMNS, UNIT_COLUMNS, Facts, TripFacts, UnitFacts

FACTS_AS_TEXT = Cast("state__facts", TextField())
"""The text of a JSON column, which is read by quicker means than a JSON column is."""
WITH_UNITS = (
    "fleet__policy",
    "planned_unit__model",
    "planned_unit__state",
    "assigned_unit__model",
    "assigned_unit__state",
)


def trip_with_own_unit(trip_id: int, *, assigned: bool) -> Trip:
    """One trip with its assigned or its planned unit, whichever is its own, in one statement: half the joins of
    `trips_with_units`, which a fresh answer would wait for."""
    own = "assigned_unit" if assigned else "planned_unit"

    def rows() -> QuerySet[Trip]:
        related: QuerySet[Trip] = Trip.objects.across_fleets().select_related(
            "fleet__policy", f"{own}__model", f"{own}__state"
        )
        return related.filter(pk=0)

    for trip in compiled(f"trip with {own}", rows)(trip_id):
        found: Trip = trip
        return found
    raise NotFound("There is no such trip.")


def trip_with_units(fleet_id: int, reference: str) -> Trip:
    """One trip by its reference with everything `facts_of` reads, in one statement.

    *Raises* NotFound.
    """
    rows = Trip.objects.for_fleet(fleet_id).select_related(*WITH_UNITS)
    trip: Trip | None = rows.filter(reference=reference).first()
    if trip is None:
        raise NotFound("There is no such trip.")
    return trip


def trips_with_units(trip_ids: Collection[int]) -> list[Trip]:
    """Trips with everything `facts_of` reads, in one statement, by ascending id."""
    return list(Trip.objects.across_fleets().select_related(*WITH_UNITS).filter(pk__in=trip_ids).order_by("pk"))


def unit_with_state(unit_id: int) -> Unit:
    return Unit.objects.across_fleets().select_related("model", "state").get(pk=unit_id)


def units_of_fleet(fleet_id: int, *, numbers: Collection[str] | None = None) -> list[UnitFacts]:
    """Facts of units by number: of those named, or of all in service. Two statements, one for all models."""
    named = {"service": Unit.Service.IN_SERVICE} if numbers is None else {"number__in": numbers}
    of_state = [FACTS_AS_TEXT if name == "facts" else f"state__{name}" for name in STATE_COLUMNS]
    rows = Unit.objects.for_fleet(fleet_id).filter(**named).order_by("number")
    found = list(rows.values_list("model_id", *UNIT_COLUMNS, *of_state))
    model_ids = {model_id for model_id, *_ in found}
    models = {model.pk: model for model in UnitModel.objects.for_fleet(fleet_id).filter(pk__in=model_ids)}
    return [UnitFacts.from_columns(row, models[model_id]) for model_id, *row in found]


def own_unit(trip: Trip) -> Unit | None:
    """The assigned unit, else the planned one."""
    return trip.assigned_unit or trip.planned_unit


def facts_of(trip: Trip, unit: Unit) -> Facts:
    """Facts of a trip with a unit. The trip's fleet with its policy, and the unit's model and state, are loaded."""
    return facts_with_units(trip, [UnitFacts.from_rows(unit, unit.model, unit.state)])[0]


def facts_with_units(trip: Trip, units: Sequence[UnitFacts]) -> list[Facts]:
    """Facts of one trip with each of these units; they share what is the trip's and the fleet's."""
    row, of_trip = trip.fleet.policy, TripFacts.from_row(trip)
    policy = Policy(row.overrides, version=row.version)
    return [Facts(trip.fleet_id, of_trip, unit, policy) for unit in units]


def facts_of_trips(trips: Sequence[Trip]) -> list[Facts]:
    """Facts of trips with their own units; trips without one are left out."""
    return [facts_of(trip, unit) for trip in trips if (unit := own_unit(trip)) is not None]
