"""When the worker has to look at trips again. Due times only ever move nearer here; the worker alone moves them out."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime, timedelta

from django.db import connection

from fleet.clock import db_now
from fleet.id_lists import AMONG, FEW, HASHED, listed, to_hash
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


def make_due(unit_ids: Collection[int], *, at: datetime, fleet_id: int | None = None) -> int:
    """Pulls the next assessment of every live trip of these units to *at*, if it is later. Returns how many trips.

    Rows are locked in ascending id, so that two batches cannot wait for each other. Whoever knows that all units are
    of one fleet says so: of many units, its live trips are gone through once.
    """
    if not unit_ids:
        return 0
    many = fleet_id is not None and len(unit_ids) > FEW
    ids = to_hash(unit_ids) if many else listed(unit_ids)
    values = [connection.ops.adapt_datetimefield_value(at), *([fleet_id] if many else []), ids, ids]
    with connection.cursor() as cursor:
        cursor.execute((_LOCK_TRIPS_OF_MANY if many else _LOCK_TRIPS_OF_UNITS)[connection.vendor], values)
        return _pull(dict(cursor.fetchall()), at)


def _lock_trips(within: str, among: str, lock: str) -> str:
    return (
        "SELECT id, assess_due_at IS NULL OR assess_due_at > %s FROM fleet_trip"
        f" WHERE {within}state IN ('{Trip.State.PLANNED}', '{Trip.State.UNDER_WAY}')"
        f" AND (planned_unit_id {among} OR assigned_unit_id {among}) ORDER BY id {lock}"
    )


_LOCKS = {"postgresql": "FOR UPDATE", "sqlite": ""}
_LOCK_TRIPS_OF_UNITS = {vendor: _lock_trips("", AMONG[vendor], lock) for vendor, lock in _LOCKS.items()}
_LOCK_TRIPS_OF_MANY = {
    vendor: _lock_trips("fleet_id = %s AND ", HASHED[vendor], lock) for vendor, lock in _LOCKS.items()
}


def pull_near(trip_ids: Collection[int], *, at: datetime) -> int:
    """The same for given trips."""
    locked = (
        Trip.objects.across_fleets()
        .filter(pk__in=trip_ids)
        .order_by("pk")
        .select_for_update(of=("self",) if connection.features.has_select_for_update_of else ())
    )
    due = locked.values_list("pk", "assess_due_at")
    return _pull({pk: due_at is None or due_at > at for pk, due_at in due}, at)


def _pull(is_later: Mapping[int, bool], at: datetime) -> int:
    """Locked trips, and whether each is due later. They are locked in any case, so that a claim under way is waited
    for; those that are due sooner already are not written again, which in a burst is all of them."""
    later = [pk for pk, yes in is_later.items() if yes]
    if later:
        Trip.objects.across_fleets().filter(pk__in=later).update(assess_due_at=at)
    return len(is_later)


def soonest_due_s(*, within: timedelta) -> float | None:
    """Seconds until the next live trip falls due, 0 or more, if that is *within* a while; else None."""
    now = db_now()
    due = Trip.objects.across_fleets().filter(state__in=LIVE, assess_due_at__lte=now + within).order_by("assess_due_at")
    soonest: datetime | None = due.values_list("assess_due_at", flat=True).first()
    return None if soonest is None else max((soonest - now).total_seconds(), 0.0)
