"""Reads hourly temperatures from CSV text."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator

import numpy as np

from fleet.simulator.errors import SimulatorError
from fleet.simulator.quantities import Floats

TEMP_COLUMNS = ("temp_c", "temperature_c", "ambient_c", "air_temp_c")
HOUR_COLUMNS = ("hour_utc", "hour", "row")
LONGEST_GAP_H = 6  # a missing spell up to this long is bridged by a straight line, a longer one refused


def read_weather(lines: Iterable[str], *, hours: int, first: int = 0) -> Floats:
    """Return hourly ambient [degC], shape (hours + 1,), beginning at hour `first` of the file.

    Lines that begin with # are notes. Without a column of hours, rows are consecutive hours from 0.

    Raises
    ------
    SimulatorError
        When no known temperature column exists, a value is no temperature, the file has a gap longer than
        six hours in the wanted span, or it does not cover that span.
    """
    at: list[int] = []
    temps: list[float] = []
    for hour, temp in read_rows(lines):
        if at and hour <= at[-1]:
            raise SimulatorError(f"weather: hour {hour} does not come after hour {at[-1]}")
        at.append(hour)
        temps.append(temp)
    wanted = np.arange(first, first + hours + 1)
    if first < 0 or not at or at[0] > first or at[-1] < first + hours:
        raise SimulatorError(f"weather: the file does not cover hours {first}..{first + hours}")
    known = np.array(at)
    after = known[np.searchsorted(known, wanted)]
    before = known[np.searchsorted(known, wanted, side="right") - 1]
    widest = int((after - before).max())
    if widest > LONGEST_GAP_H:
        raise SimulatorError(f"weather: a gap of {widest} hours in the wanted span")
    return np.interp(wanted, known, np.array(temps))


def read_rows(lines: Iterable[str]) -> Iterator[tuple[int, float]]:
    """Yield hour and temperature of each data row."""
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    names = rows.fieldnames or ()
    column = next((name for name in TEMP_COLUMNS if name in names), None)
    clock = next((name for name in HOUR_COLUMNS if name in names), None)
    if column is None:
        raise SimulatorError(f"weather: no column of {', '.join(TEMP_COLUMNS)}")
    for number, row in enumerate(rows):
        try:
            hour, temp = int(row[clock]) if clock else number, float(row[column])
        except (TypeError, ValueError):
            raise SimulatorError(f"weather: data row {number} is not an hour and a temperature") from None
        if not -90.0 <= temp <= 60.0:
            raise SimulatorError(f"weather: data row {number}: {temp} is outside -90..60 degC")
        yield hour, temp
