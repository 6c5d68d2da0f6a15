"""Writes trips: create, change, new forecast, deliver, cancel. The two gates are in `fleet.trips.gate`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F

from fleet.bell import ASSESS_TASK, ring
from fleet.errors import Conflict, InvalidInput, StaleRevision
from fleet.models import Fleet, Member, Trip, Unit, UnitState
from fleet.readiness.hold_service import end_holds
from fleet.records.audit import record_act
from fleet.retry import on_conflict
from fleet.trips.due import make_due, pull_near
from fleet.trips.plan import ambient_faults, resolve_loads, stored_ambient, stored_stops, times_faults
from fleet.trips.selectors import commodities_by_key, locked_trip_of, trip_of
from fleet.trips.states import STEPS, require_step
from fleet.units.state import lock_states, record_facts

LAST_DELIVERED = "fleet.last_delivered"
"""Unit fact: the trip it delivered last. An inspection from before that trip no longer counts for the next."""


class ReferenceTaken(Conflict):
    """Another trip of the fleet has this reference."""


def build_trip(fleet: Fleet, plan: Mapping[str, Any]) -> Trip:
    """A trip row from a validated plan, not saved. *Raises* InvalidInput, HazardousLoad."""
    faults = times_faults(plan["loading_at"], plan["depart_at"], plan["stops"]) + ambient_faults(plan["ambient"])
    if faults:
        raise InvalidInput(errors=faults)
    help_ = plan.get("help") or {}
    return Trip(
        fleet=fleet,
        reference=plan["reference"],
        planned_unit=_planned_unit(fleet.pk, plan.get("planned_unit")),
        loading_at=plan["loading_at"],
        depart_at=plan["depart_at"],
        arrive_at=plan["stops"][-1]["arrive_at"],
        loads=_loads(fleet.pk, plan),
        stops=stored_stops(plan["stops"]),
        ambient=stored_ambient(plan["ambient"]),
        ambient_issued_at=plan.get("ambient_issued_at"),
        help_median_h=help_.get("median_h"),
        help_p90_h=help_.get("p90_h"),
    )


def _planned_unit(fleet_id: int, number: str | None) -> Unit | None:
    if number is None:
        return None
    unit: Unit | None = Unit.objects.for_fleet(fleet_id).select_related("model", "state").filter(number=number).first()
    if unit is None:
        raise InvalidInput.at("/planned_unit", "unknown-unit", "There is no such unit.")
    return unit


def _loads(fleet_id: int, plan: Mapping[str, Any]) -> list[dict[str, Any]]:
    one = plan.get("load")
    loads = [one] if one is not None else plan.get("loads") or []
    commodities = commodities_by_key(fleet_id, {load["commodity"] for load in loads})
    return resolve_loads(loads, commodities, pointer="/load" if one is not None else "/loads/{index}")


def create_trip(fleet: Fleet, plan: Mapping[str, Any], *, by: Member, now: datetime) -> Trip:
    """Stores a planned trip and makes it due. *Raises* ReferenceTaken."""

    def work() -> Trip:
        with transaction.atomic():
            trip = build_trip(fleet, plan)
            if trip.planned_unit_id is not None:
                lock_states([trip.planned_unit_id])
            trip.assess_due_at = now
            trip.set_point_changed_at = None
            try:
                with transaction.atomic():
                    trip.save(force_insert=True)
            except IntegrityError as error:
                if "trip_reference_once_per_fleet" not in str(error) and "reference" not in str(error):
                    raise
                raise ReferenceTaken(f"There is already a trip {trip.reference!r}.") from error
            touch_units([trip.planned_unit_id], now=now)
            record_act(by, act="trip.created", subject=trip, at=now, content=_summary(trip))
            ring(ASSESS_TASK)
            return trip

    return on_conflict(work)


def change_trip(
    fleet: Fleet,
    reference: str,
    changes: Mapping[str, Any],
    *,
    revision: int | None,
    by: Member,
    now: datetime,
) -> Trip:
    """Changes a planned trip: times slip, loads and stops are replaced whole, the planned unit may change."""

    def work() -> Trip:
        with transaction.atomic():
            trip = _lock(fleet.pk, reference, also=changes.get("planned_unit"))
            _require_revision(trip, revision)
            require_step(trip, "change")
            before = trip.planned_unit_id
            had_set_point = _set_point(trip)
            _apply(fleet.pk, trip, changes)
            if _set_point(trip) != had_set_point:
                trip.set_point_changed_at = now
            _moved(trip, now)
            trip.save()
            touch_units([before, trip.planned_unit_id, trip.assigned_unit_id], now=now)
            record_act(by, act="trip.changed", subject=trip, at=now, content={"members": sorted(changes)})
            ring(ASSESS_TASK)
            return trip

    return on_conflict(work)


def _apply(fleet_id: int, trip: Trip, changes: Mapping[str, Any]) -> None:
    """Puts the changed members into the row and checks the plan as a whole."""
    for name in ("loading_at", "depart_at"):
        if name in changes:
            setattr(trip, name, changes[name])
    if "stops" in changes:
        trip.stops = stored_stops(changes["stops"])
        trip.arrive_at = changes["stops"][-1]["arrive_at"]
    if "load" in changes or "loads" in changes:
        trip.loads = _loads(fleet_id, changes)
    if "planned_unit" in changes:
        trip.planned_unit = _planned_unit(fleet_id, changes["planned_unit"])
    if "help" in changes:
        help_ = changes["help"] or {}
        trip.help_median_h, trip.help_p90_h = help_.get("median_h"), help_.get("p90_h")
    if faults := times_faults(trip.loading_at, trip.depart_at, _read_stops(trip)):
        raise InvalidInput(errors=faults)


def _read_stops(trip: Trip) -> list[dict[str, Any]]:
    def moment(text: str | None) -> datetime | None:
        return datetime.fromisoformat(text) if text else None

    return [
        stop | {"arrive_at": moment(stop["arrive_at"]), "leave_at": moment(stop["leave_at"])} for stop in trip.stops
    ]


def _set_point(trip: Trip) -> float | None:
    points = [load["set_point_c"] for load in trip.loads if load["set_point_c"] is not None]
    return points[0] if points else None


def replace_ambient(
    fleet: Fleet,
    reference: str,
    forecast: Mapping[str, Any],
    *,
    revision: int | None,
    by: Member,
    now: datetime,
) -> Trip:
    """Replaces the ambient forecast of a trip that has not ended."""
    if faults := ambient_faults(forecast["ambient"]):
        raise InvalidInput(errors=faults)

    def work() -> Trip:
        with transaction.atomic():
            trip = _lock(fleet.pk, reference)
            _require_revision(trip, revision)
            require_step(trip, "replace_ambient")
            trip.ambient = stored_ambient(forecast["ambient"])
            trip.ambient_issued_at = forecast.get("ambient_issued_at")
            trip.ambient_version += 1
            trip.revision += 1
            trip.save()
            pull_near([trip.pk], at=now)
            record_act(by, act="trip.ambient", subject=trip, at=now, content={"points": len(trip.ambient)})
            ring(ASSESS_TASK)
            return trip

    return on_conflict(work)


def finish_trip(
    fleet: Fleet,
    reference: str,
    step: str,
    *,
    revision: int | None,
    by: Member,
    now: datetime,
    reason: str = "",
) -> Trip:
    """Delivers or cancels a trip: its holds end and its unit is free."""

    def work() -> Trip:
        with transaction.atomic():
            trip = _lock(fleet.pk, reference)
            _require_revision(trip, revision)
            require_step(trip, step)
            trip.state = STEPS[step][1]
            if step == "deliver":
                trip.delivered_at = now
                assert trip.assigned_unit_id is not None
                record_facts({trip.assigned_unit_id: {LAST_DELIVERED: trip.reference}}, at=now, source="fleet")
            else:
                trip.cancelled_at, trip.cancel_reason = now, reason
            _moved(trip, now)
            trip.assess_due_at = None
            trip.save()
            end_holds(trip, reason=str(trip.state), now=now, by=by)
            touch_units([trip.planned_unit_id, trip.assigned_unit_id], now=now)
            record_act(by, act=f"trip.{trip.state}", subject=trip, at=now, content={"reason": reason})
            ring(ASSESS_TASK)
            return trip

    return on_conflict(work)


def _lock(fleet_id: int, reference: str, *, also: str | None = None) -> Trip:
    """The trip under lock, after the states of its units (and of one more, by number)."""
    found = trip_of(fleet_id, reference)
    ids = {found.planned_unit_id, found.assigned_unit_id} - {None}
    if also is not None:
        ids |= set(Unit.objects.for_fleet(fleet_id).filter(number=also).values_list("pk", flat=True))
    lock_states(pk for pk in ids if pk is not None)
    return locked_trip_of(fleet_id, reference)


def _require_revision(trip: Trip, revision: int | None) -> None:
    if revision is not None and trip.revision != revision:
        raise StaleRevision(current=f'"{trip.revision}"')


def _moved(trip: Trip, now: datetime) -> None:
    trip.version += 1
    trip.revision += 1
    trip.assess_due_at = now


def touch_units(unit_ids: list[int | None], *, now: datetime) -> None:
    """Answers about other trips of these units depend on this one: their versions move and they are due."""
    ids = sorted({pk for pk in unit_ids if pk is not None})
    if not ids:
        return
    UnitState.objects.across_fleets().filter(unit_id__in=ids).update(version=F("version") + 1)
    make_due(ids, at=now)


def _summary(trip: Trip) -> dict[str, Any]:
    return {"reference": trip.reference, "depart_at": trip.depart_at.isoformat()}
