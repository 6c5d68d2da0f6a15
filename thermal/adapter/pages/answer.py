"""The calculator's answer for a person: sentences, a picture and a table."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from fleet.charts.picture import Limit, Line, Panel, Picture, Ribbon, Role
from thermal.adapter.charts import heat_panel, time_panel
from thermal.course import course_of
from thermal.request import EstimateRequest

COLDEST_SAID_C = -60.0
"""Colder than this is no winter on a road: a strong heater in a small box needs no such number (choice)."""


def sentences(document: dict[str, Any], request: EstimateRequest) -> Iterator[str]:
    """What the numbers say, metric: the page says them in the reader's units."""
    ambient, set_c = request.trip.ambient_c[0], request.trip.set_point_c
    needed, available = document["heat_needed_kw"], document["heat_available_kw"]
    if needed <= 0:
        yield f"No heat is needed: outside is {ambient:.1f} °C, the set point {set_c:.1f} °C."
    else:
        holds = "The heater holds" if available >= needed else "The heater cannot hold"
        coldest = set_c - available / needed * (set_c - ambient)
        yield f"{holds} {set_c:.1f} °C at {ambient:.1f} °C outside: {needed:.1f} kW needed, {available:.1f} kW given."
        if coldest > COLDEST_SAID_C:
            yield f"At full output it would hold the set point down to {coldest:.0f} °C outside."
    if request.load.mass_kg > 0:
        limit = request.load.damage_limit_c
        if document["coldest_edge_c"] is not None:
            coldest_c = document["coldest_edge_c"]
            yield f"The edge of the load goes down to {coldest_c:.1f} °C; damage begins at {limit:.1f} °C."
        first = document["damage_after_h"][0]
        if first is None:
            yield "If the heat stops at departure, damage would not come before arrival."
        else:
            yield f"If the heat stops at departure, the edge reaches {limit:.1f} °C after {first:.1f} h."
        said = "more than 99" if document["score"] > 99 else f"{document['score']:.0f}"
        yield f"The load arrives undamaged in {said} of 100 such trips."
    hours = request.trip.hours
    yield f"{document['fuel_l']:.0f} L of fuel are burnt in {hours} h."
    if document["fuel_out_h"] is not None:
        yield f"The tank runs dry after {document['fuel_out_h']:.1f} h."


def picture_of(request: EstimateRequest) -> Picture:
    """The course of the trip; time counts from departure."""
    load = request.load if request.load.mass_kg > 0 else None
    course = course_of(request.unit, load=load, trip=request.trip, risk=request.risk)
    at_s = 3600.0 * course.time_h
    lines = [Line("air", Role.AIR, at_s, course.air_c)]
    ribbons: tuple[Ribbon, ...] = ()
    limits: tuple[Limit, ...] = ()
    if course.edge_c is not None and course.core_c is not None and course.band.edge_c is not None:
        lines = [Line("core", Role.CORE, at_s, course.core_c), Line("edge", Role.EDGE, at_s, course.edge_c)]
        kept = course.band.time_h <= (np.inf if course.fuel_out_h is None else course.fuel_out_h)
        low, high = course.band.edge_c[0][kept], course.band.edge_c[1][kept]
        ribbons = (Ribbon("edge, 9 of 10", Role.EDGE, 3600.0 * course.band.time_h[kept], low, high),)
        limits = (Limit("damage", request.load.damage_limit_c, hard=True),)
    panels = [
        Panel("Load" if ribbons else "Air in the box", "degC", tuple(lines), ribbons, limits, height=2.0),
        heat_panel(course, at_s),
        Panel("Fuel", "L", (Line("fuel", Role.FUEL, 3600.0 * course.fuel_h, course.fuel_l),), from_zero=True),
    ]
    if np.isfinite(course.damage_after_h).any():
        panels.append(time_panel(course, 0.0))
    return Picture(
        title="Hours from departure",
        since_s=0.0,
        until_s=3600.0 * request.trip.hours,
        panels=tuple(panels),
        relative=True,
        words=("The box hour by hour; the table says the same.",),
        notes=("Band: nine of ten worlds while the heater works and has fuel.",),
    )
