"""A trip's time axis as a list: loading, departure, stops, arrival, what apps add, and where now is."""

from __future__ import annotations

from datetime import datetime, timedelta

from fleet.models import Trip
from fleet.pages.panels import Mark, trip_marks
from fleet.readiness.facts import StopFacts


def course_of(trip: Trip, *, now: datetime) -> list[Mark]:
    """Marks in order of time, with one for now while the trip is not over."""
    marks = [*_planned(trip), *(mark for source in trip_marks for mark in source.marks(trip, now))]
    if trip.state in (Trip.State.PLANNED, Trip.State.UNDER_WAY):
        marks.append(Mark(at=now, title="Now", kind="now"))
    return sorted(marks, key=lambda mark: (mark.at, mark.kind == "now"))


def _planned(trip: Trip) -> list[Mark]:
    marks = [Mark(at=trip.loading_at, title="Loading", text="The box has to be warm before the doors open.")]
    if trip.departed_at is None:
        marks.append(Mark(at=trip.depart_at, title="Departure"))
    else:
        marks.append(Mark(at=trip.departed_at, title="Departed", text=_late(trip.departed_at - trip.depart_at)))
    stops = [StopFacts.from_document(stop) for stop in trip.stops]
    marks += [
        Mark(at=stop.arrive_at, until=stop.leave_at, title=stop.place, text=_said_of(stop, last=stop is stops[-1]))
        for stop in stops
    ]
    if trip.delivered_at is not None:
        marks.append(Mark(at=trip.delivered_at, title="Delivered"))
    if trip.cancelled_at is not None:
        marks.append(Mark(at=trip.cancelled_at, title="Cancelled", text=trip.cancel_reason))
    return marks


def _late(delay: timedelta) -> str:
    minutes = round(delay / timedelta(minutes=1))
    if abs(minutes) < 5:
        return "On time."
    return f"{abs(minutes)} min {'after' if minutes > 0 else 'before'} the planned time."


def _said_of(stop: StopFacts, *, last: bool) -> str:
    said = ["Last stop."] if last else []
    if stop.door_open_min:
        said.append(f"Doors open for {stop.door_open_min:.0f} min{', heater off' if stop.heater_off else ''}.")
    if stop.refuel:
        said.append("Fuel is filled up.")
    return " ".join(said)
