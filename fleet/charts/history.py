"""The picture of a unit's last day or week: temperatures, set point, share of the time its heater ran, fuel."""

from __future__ import annotations

from datetime import datetime, timedelta
from enum import StrEnum

import numpy as np

from fleet.charts.measured import Measured, measured_of
from fleet.charts.picture import Array, Line, Panel, Picture, Role
from fleet.charts.registry import marks_of
from fleet.charts.thin import gap_s
from fleet.models import Unit

READ = (
    "return_air_c", "discharge_air_c", "cargo_c", "set_point_c", "ambient_c", "fuel_l", "heater_running", "door_open",
)  # fmt: skip


class Stretch(StrEnum):
    """How far back."""

    DAY = "24h"
    WEEK = "7d"

    @property
    def length(self) -> timedelta:
        return timedelta(days=1 if self is Stretch.DAY else 7)

    @property
    def duty_bin_s(self) -> float:
        return 3600.0 if self is Stretch.DAY else 6 * 3600.0


def history_picture(unit: Unit, *, now: datetime, stretch: Stretch) -> Picture:
    """The chart of one unit up to now; without readings its panels are empty and its words say so."""
    until = now.replace(second=0, microsecond=0)
    since = until - stretch.length
    measured = measured_of(unit.pk, since=since, until=now, names=READ)
    words = "the last 24 hours" if stretch is Stretch.DAY else "the last 7 days"
    notes = ["A silence longer than three usual steps, half an hour at least, is left blank."]
    if measured.cut:
        notes.append("Only the newest readings are shown: there are more than one chart holds.")
    return Picture(
        title=f"{unit.number}, {words}",
        since_s=since.timestamp(),
        until_s=until.timestamp(),
        panels=_panels(measured, since_s=since.timestamp(), until_s=until.timestamp(), bin_s=stretch.duty_bin_s),
        spans=measured.spans("door_open", kind="doors", words="doors open"),
        marks=marks_of(unit.pk, since=since, until=now),
        words=(f"{unit.number}, {words}.", *_words(measured)),
        notes=tuple(notes),
    )


def _panels(measured: Measured, *, since_s: float, until_s: float, bin_s: float) -> tuple[Panel, ...]:
    def lines(*asked: tuple[str, str, Role]) -> tuple[Line, ...]:
        found = (measured.line(name, words, role) for name, words, role in asked)
        return tuple(line for line in found if line is not None)

    box = lines(
        ("return_air_c", "return air", Role.AIR),
        ("discharge_air_c", "discharge air", Role.DISCHARGE),
        ("cargo_c", "cargo", Role.EDGE),
        ("set_point_c", "set point", Role.SET_POINT),
    )
    at_s, shares = duty(measured, since_s=since_s, until_s=until_s, bin_s=bin_s)
    running = (Line("heater running", Role.DUTY, at_s, shares, steps=True),) if np.isfinite(shares).any() else ()
    return (
        Panel("Box", "degC", box, height=2.4),
        Panel("Outside", "degC", lines(("ambient_c", "outside", Role.AMBIENT)), height=0.9),
        Panel(f"Heater running, share of {bin_s / 3600:.0f} h", "%", running, height=0.8, from_zero=True),
        Panel("Fuel", "L", lines(("fuel_l", "fuel", Role.FUEL)), height=0.9, from_zero=True),
    )


def duty(measured: Measured, *, since_s: float, until_s: float, bin_s: float) -> tuple[Array, Array]:
    """Starts of bins and the share of each in which the heater ran [%], NaN where less than half of it is known.

    A reading holds until the next one, or until the silence counts as a gap. The last value stands once more at the
    end, so that a stepped line reaches it.
    """
    starts = np.arange(since_s, until_s, bin_s)
    at_s, running = measured.series("heater_running")
    if not len(at_s):
        return np.append(starts, until_s), np.full(len(starts) + 1, np.nan)
    longest_s = gap_s(at_s)
    ends_s = np.minimum(np.append(at_s[1:], until_s), at_s + longest_s)
    shares = []
    for start in starts:
        known = np.clip(np.minimum(ends_s, start + bin_s) - np.maximum(at_s, start), 0.0, None)
        total = known.sum()
        shares.append(100 * (known * running).sum() / total if total >= bin_s / 2 else np.nan)
    return np.append(starts, until_s), np.append(shares, shares[-1])


def _words(measured: Measured) -> tuple[str, ...]:
    if not len(measured.at_s):
        return ("No readings in this time.",)
    said = [f"{len(measured.at_s)} readings."]
    for name, words, unit in (
        ("return_air_c", "Return air", "°C"),
        ("cargo_c", "Cargo", "°C"),
        ("ambient_c", "Outside", "°C"),
        ("fuel_l", "Fuel", "L"),
    ):
        _, values = measured.series(name)
        if len(values):
            low, high, newest = values.min(), values.max(), values[-1]
            said.append(f"{words} from {low:.1f} {unit} to {high:.1f} {unit}, newest {newest:.1f} {unit}.")
    at_s, running = measured.series("heater_running")
    if len(at_s):
        said.append(f"The heater ran in {100 * running.mean():.0f} % of the readings.")
    return tuple(said)
