"""The picture of a trip: what the model expects with the band of its worlds, and over it what was measured."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import numpy as np

from fleet.charts.measured import Measured, measured_of
from fleet.charts.picture import Array, Limit, Line, Panel, Picture, Ribbon, Role, Span
from fleet.charts.registry import FORECAST, TripChart, marks_of, trip_charts
from fleet.durations import HOUR
from fleet.models import Trip
from fleet.readiness.facts import Facts
from fleet.readiness.selectors import facts_of, own_unit
from fleet.readiness.service import TripHasNoUnit
from fleet.trips.due import LIVE
from thermal import ThermalError
from thermal.adapter.chart_words import forecast_words, measured_words
from thermal.adapter.inputs import Inputs, NotEnough, inputs_of
from thermal.course import Course, course_of

READ = ("return_air_c", "discharge_air_c", "cargo_c", "ambient_c", "fuel_l", "door_open")
BAND_NOTE = (
    "Band: nine of ten worlds while the heater works and has fuel. Air, where calculated, is the mean over the "
    "thermostat's cycle."
)
SAFE_NOTE = "No time to damage is drawn: if the heat stops, damage would not come before arrival."
ENDS_NOTE = "Time to damage is drawn while damage would come before arrival."
DRY_NOTE = "After the tank runs dry the band says nothing and is left out."
BEFORE = timedelta(hours=3)
AFTER = timedelta(minutes=30)


def register() -> None:
    trip_charts.add(TripChart(FORECAST, trip_picture))


def trip_picture(trip: Trip, now: datetime) -> Picture:
    """The chart of a trip with its unit, as of the minute: within it, equal facts make an equal picture.

    *Raises* TripHasNoUnit.
    """
    unit = own_unit(trip)
    if unit is None:
        raise TripHasNoUnit("The trip has no unit yet.")
    facts = facts_of(trip, unit)
    moment, now = now, now.replace(second=0, microsecond=0)
    since, until = window_of(trip, facts, now)
    inputs = _inputs(trip, facts, now)
    course = None if isinstance(inputs, str) else course_of(
        inputs.unit, load=inputs.load, trip=inputs.trip, risk=inputs.risk
    )  # fmt: skip
    measured = measured_of(unit.pk, since=since, until=min(until, moment), names=READ)
    title = f"{trip.reference} with {unit.number}"
    expected = () if isinstance(inputs, str) or course is None else forecast_words(course, inputs)
    return Picture(
        title=title,
        since_s=since.timestamp(),
        until_s=until.timestamp(),
        panels=tuple(_panels(facts, measured, course, inputs)),
        spans=_stops(facts, now, since=since, until=until)
        + measured.spans("door_open", kind="doors", words="doors open"),
        marks=marks_of(unit.pk, since=since, until=until),
        now_s=now.timestamp() if trip.state in LIVE and since <= now <= until else None,
        words=(f"{title}.", *expected, *measured_words(measured)),
        notes=tuple(_notes(inputs, course, measured)),
    )


def window_of(trip: Trip, facts: Facts, now: datetime) -> tuple[datetime, datetime]:
    """What the chart spans: from loading, or three hours before, until the last arrival and a little after."""
    if trip.state == Trip.State.DELIVERED and trip.departed_at and trip.delivered_at:
        return min(trip.loading_at, trip.departed_at), trip.delivered_at + AFTER
    until = facts.trip.expected_at(now) + AFTER
    since = min(trip.loading_at, trip.departed_at or trip.loading_at)
    if trip.state == Trip.State.PLANNED:
        since = min(since, max(now - BEFORE, until - timedelta(days=14)))
    return since, max(until, since + HOUR)


def _inputs(trip: Trip, facts: Facts, now: datetime) -> Inputs | str:
    """The model's inputs, or in words why there is nothing to expect."""
    if trip.state not in LIVE:
        return f"The trip is {str(trip.state).replace('_', ' ')}: only what was measured is shown."
    if not facts.trip.needs_heat:
        return "The load needs no heat: only what was measured is shown."
    try:
        inputs = inputs_of(facts, now)
    except ThermalError as error:
        return f"No forecast: {error}."
    return f"No forecast. {inputs.words}" if isinstance(inputs, NotEnough) else inputs


def _stops(facts: Facts, now: datetime, *, since: datetime, until: datetime) -> tuple[Span, ...]:
    """Every place on the trip within the window, as late as the trip is."""
    late = facts.trip.delay(now)
    spans = (
        Span(
            "stop",
            stop.place,
            (stop.arrive_at + late).timestamp(),
            ((stop.leave_at or stop.arrive_at + timedelta(minutes=stop.door_open_min)) + late).timestamp(),
        )
        for stop in facts.trip.stops
    )
    return tuple(span for span in spans if span.from_s <= until.timestamp() and span.until_s >= since.timestamp())


def _notes(inputs: Inputs | str, course: Course | None, measured: Measured) -> Iterator[str]:
    if isinstance(inputs, str):
        yield inputs
    if course is not None:
        yield BAND_NOTE
        if course.fuel_out_h is not None:
            yield DRY_NOTE
        if course.edge_c is not None:
            yield ENDS_NOTE if np.isfinite(course.damage_after_h).any() else SAFE_NOTE
    if measured.cut:
        yield "Only the newest readings are shown: there are more than one chart holds."


def _panels(facts: Facts, measured: Measured, course: Course | None, inputs: Inputs | str) -> Iterator[Panel]:
    at_s = None if course is None or isinstance(inputs, str) else inputs.starts_at.timestamp() + 3600 * course.time_h
    yield _load_panel(facts, measured, course, at_s)
    outside = [] if course is None or at_s is None else [Line("forecast", Role.AMBIENT, at_s, course.ambient_c)]
    lines = (*outside, *_known(measured.line("ambient_c", "measured", Role.AMBIENT)))
    yield Panel("Outside", "degC", lines, height=0.8)
    yield _air_panel(measured, course, at_s)
    if course is not None and at_s is not None:
        yield heat_panel(course, at_s)
    yield _fuel_panel(facts, measured, course, at_s)
    if course is not None and at_s is not None and np.isfinite(course.damage_after_h).any():
        yield time_panel(course, at_s[0])


def _load_panel(facts: Facts, measured: Measured, course: Course | None, at_s: Array | None) -> Panel:
    lines: list[Line] = []
    ribbons: tuple[Ribbon, ...] = ()
    if course is not None and at_s is not None and course.edge_c is not None and course.core_c is not None:
        lines = [Line("core", Role.CORE, at_s, course.core_c), Line("edge", Role.EDGE, at_s, course.edge_c)]
        assert course.band.edge_c is not None
        ribbons = (_ribbon("edge, 9 of 10", Role.EDGE, course, course.band.edge_c, start_s=at_s[0]),)
    trip = facts.trip
    ends = ((trip.low_c, "low", False), (trip.high_c, "high", False), (trip.damage_c, "damage", True))
    limits = tuple(Limit(name, value, hard) for value, name, hard in ends if value is not None)
    cargo = _known(measured.line("cargo_c", "cargo, measured", Role.CARGO))
    return Panel("Load", "degC", (*lines, *cargo), ribbons, limits, height=2.2)


def _air_panel(measured: Measured, course: Course | None, at_s: Array | None) -> Panel:
    expected: tuple[Line, ...] = ()
    ribbons: tuple[Ribbon, ...] = ()
    if course is not None and at_s is not None:
        expected = (Line("air", Role.AIR, at_s, course.air_c),)
        ribbons = (_ribbon("air, 9 of 10", Role.AIR, course, course.band.air_c, start_s=at_s[0]),)
    found = (
        measured.line("return_air_c", "return, measured", Role.AIR),
        measured.line("discharge_air_c", "discharge, measured", Role.DISCHARGE),
    )
    return Panel("Air in the box", "degC", (*expected, *(_known(*found))), ribbons, height=1.4)


def _ribbon(name: str, role: Role, course: Course, ends: Array, *, start_s: float) -> Ribbon:
    """A band, until the tank runs dry."""
    shown = course.band.time_h <= (np.inf if course.fuel_out_h is None else course.fuel_out_h)
    return Ribbon(name, role, start_s + 3600 * course.band.time_h[shown], ends[0][shown], ends[1][shown])


def _known(*lines: Line | None) -> tuple[Line, ...]:
    return tuple(line for line in lines if line is not None)


def heat_panel(course: Course, at_s: Array) -> Panel:
    available = np.full(2, course.available_kw)
    given = np.append(course.given_kw, course.given_kw[-1:])
    return Panel(
        "Heat", "kW",
        (
            Line("given", Role.GIVEN, at_s, given, steps=True),
            Line("needed, doors shut", Role.NEEDED, at_s, course.needed_kw),
            Line("available", Role.AVAILABLE, at_s[[0, -1]], available),
        ),
        height=1.1, from_zero=True,
    )  # fmt: skip


def _fuel_panel(facts: Facts, measured: Measured, course: Course | None, at_s: Array | None) -> Panel:
    lines: tuple[Line, ...] = _known(measured.line("fuel_l", "measured", Role.FUEL))
    if course is not None and at_s is not None:
        lines = (Line("expected", Role.FUEL, at_s[0] + 3600 * course.fuel_h, course.fuel_l), *lines)
    reserve = facts.unit.design.get("reserve_l")
    limits = () if reserve is None else (Limit("reserve", reserve, hard=True),)
    return Panel("Fuel", "L", lines, (), limits, from_zero=True)


def time_panel(course: Course, start_s: float) -> Panel:
    hours = np.where(np.isfinite(course.damage_after_h), course.damage_after_h, np.nan)
    at_s: Array = start_s + 3600.0 * np.arange(len(hours), dtype=np.float64)
    return Panel(
        "Time to damage if the heat stops", "h", (Line("from then on", Role.TIME_LEFT, at_s, hours),), from_zero=True
    )
