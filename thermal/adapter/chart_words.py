"""What the chart of a trip says to a person who cannot see it: sentences, metric and in UTC as findings are."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from fleet.charts.measured import Measured
from thermal.adapter.inputs import Inputs
from thermal.course import Course


def forecast_words(course: Course, inputs: Inputs) -> tuple[str, ...]:
    """The course in sentences: extremes and when they come, never the whole line."""

    def at(hours: float) -> str:
        return f"{inputs.starts_at + timedelta(hours=float(hours)):%Y-%m-%d %H:%M} UTC"

    said = [f"Forecast from {at(0)} to {at(course.time_h[-1])}, set point {inputs.trip.set_point_c:.1f} °C."]
    if course.edge_c is not None and course.band.edge_c is not None:
        low = int(course.edge_c.argmin())
        worst = int(course.band.edge_c[0].argmin())
        said.append(
            f"Edge of the load: {course.edge_c[0]:.1f} °C at the start, lowest {course.edge_c[low]:.1f} °C at "
            f"{at(course.time_h[low])}; lower end of the band at its lowest {course.band.edge_c[0][worst]:.1f} °C."
        )
    coldest = int(course.ambient_c.argmin())
    said.append(
        f"Coldest outside: {course.ambient_c[coldest]:.1f} °C at {at(course.time_h[coldest])}; "
        f"heat needed there {course.needed_kw[coldest]:.1f} kW of {course.available_kw:.1f} kW."
    )
    least = int(course.fuel_l.argmin())
    said.append(f"Least fuel: {course.fuel_l[least]:.0f} L at {at(course.fuel_h[least])}.")
    if course.fuel_out_h is not None:
        said.append(f"The tank runs dry at {at(course.fuel_out_h)}.")
    finite = np.isfinite(course.damage_after_h)
    if finite.any():
        hour = int(np.where(finite, course.damage_after_h, np.inf).argmin())
        said.append(f"Shortest time to damage if the heat stops: {course.damage_after_h[hour]:.1f} h from {at(hour)}.")
    elif course.edge_c is not None:
        said.append("If the heat stops, damage would not come before arrival.")
    return tuple(said)


def measured_words(measured: Measured) -> tuple[str, ...]:
    """What the readings of the span say: how many, and the range of each."""
    if not len(measured.at_s):
        return ("No readings in this time.",)
    newest = datetime.fromtimestamp(float(measured.at_s[-1]), tz=UTC)
    said = [f"{len(measured.at_s)} readings, the newest of {newest:%Y-%m-%d %H:%M} UTC."]
    for name, words in (("return_air_c", "Return air"), ("cargo_c", "Cargo"), ("ambient_c", "Outside")):
        _, values = measured.series(name)
        if len(values):
            said.append(f"{words} measured from {values.min():.1f} to {values.max():.1f} °C.")
    return tuple(said)
