"""When the worker has to look at trips again. Due times only ever move nearer here; the worker alone moves them out."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta

from django.db import connection
from django.db.models import Q
from django.db.models.functions import Coalesce, Least

from fleet.clock import db_now
from fleet.models import Trip

LIVE = (Trip.State.PLANNED, Trip.State.UNDER_WAY)
WITH_MODELS = ("fleet__policy", "planned_unit__model", "assigned_unit__model")


def lock_trip(trip_id: int) -> Trip:
    """The trip's row, locked until the transaction ends. Lock the unit's state first."""
    rows = Trip.objects.across_fleets().select_for_update(
        of=("self",) if connection.features.has_select_for_update_of else ()
    )
    trip: Trip = rows.select_related("fleet__policy").get(pk=trip_id)
    return trip


def lock_trips(trip_ids: Collection[int]) -> dict[int, Trip]:
    """The same for many, by id, in one statement and in ascending order. Lock their units' states first."""
    rows = Trip.objects.across_fleets().select_for_update(
        of=("self",) if connection.features.has_select_for_update_of else ()
    )
    return {trip.pk: trip for trip in rows.select_related(*WITH_MODELS).filter(pk__in=trip_ids).order_by("pk")}


def make_due(unit_ids: Collection[int], *, at: datetime) -> int:
    """Pulls the next assessment of every live trip of these units to *at*, if it is later. Returns how many trips.

    Rows are locked in ascending id, so that two batches cannot wait for each other.
    """
    if not unit_ids:
        return 0
    trips = (
        Trip.objects.across_fleets()
        .filter(state__in=LIVE)
        .filter(Q(assigned_unit_id__in=unit_ids) | Q(planned_unit_id__in=unit_ids))
    )
    return pull_near(trips.values_list("pk", flat=True), at=at)


def pull_near(trip_ids: Collection[int], *, at: datetime) -> int:
    """The same for given trips."""
    locked = (
        Trip.objects.across_fleets()
        .filter(pk__in=trip_ids)
        .order_by("pk")
        .select_for_update(of=("self",) if connection.features.has_select_for_update_of else ())
    )
    ids = list(locked.values_list("pk", flat=True))
    if not ids:
        return 0
    return (
        Trip.objects.across_fleets().filter(pk__in=ids).update(assess_due_at=Least(Coalesce("assess_due_at", at), at))
    )


def soonest_due_s(*, within: timedelta) -> float | None:
    """Seconds until the next live trip falls due, 0 or more, if that is *within* a while; else None."""
    now = db_now()
    due = Trip.objects.across_fleets().filter(state__in=LIVE, assess_due_at__lte=now + within).order_by("assess_due_at")
    soonest: datetime | None = due.values_list("assess_due_at", flat=True).first()
    return None if soonest is None else max((soonest - now).total_seconds(), 0.0)
