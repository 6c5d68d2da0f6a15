"""Stored readings of a unit as the columns that learning takes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import numpy as np

from fleet.models import Reading
from thermal.health.readings import Readings

FIELDS = {
    "return_air_c": "return_air_c",
    "discharge_air_c": "discharge_air_c",
    "ambient_c": "ambient_c",
    "set_point_c": "set_point_c",
    "cargo_c": "cargo_c",
    "fuel_l": "fuel_l",
    "engine_hours_h": "engine_h",
    "speed_km_h": "speed_km_h",
    "heater_running": "running",
    "unit_on": "on",
    "door_open": "door",
}
"""Column of a reading to its name in `thermal.health`."""
Row = tuple[Any, ...]
"""(unit id, at, source id, *FIELDS)."""
AT, SOURCE, FIRST, RUNNING, ON = 1, 2, 3, 3 + list(FIELDS).index("heater_running"), 3 + list(FIELDS).index("unit_on")


def rows_between(unit_ids: Sequence[int], since: datetime, until: datetime) -> list[Row]:
    """Readings of these units from *since* until before *until*, by unit, time and source. One statement."""
    rows = (
        Reading.objects.across_fleets()
        .filter(unit_id__in=unit_ids, at__gte=since, at__lt=until)
        .order_by("unit_id", "at", "source_id")
        .values_list("unit_id", "at", "source_id", *FIELDS)
    )
    return list(rows)


def readings_from(rows: Iterable[Row]) -> Readings:
    """Columns of one unit's rows, which are in order of time; seconds are of the Unix epoch.

    Only one source is taken: the one that speaks of the unit's heater most often (of equal ones the first that was
    known). A second one has sensors of its own, and differences between two sensors would look like heat.
    """
    rows = list(rows)
    speaks = Counter(row[SOURCE] for row in rows if row[RUNNING] is not None or row[ON] is not None)
    if speaks:
        main = min(speaks, key=lambda source: (-speaks[source], source))
        rows = [row for row in rows if row[SOURCE] == main]
    columns = list(zip(*rows, strict=True)) if rows else [()] * (FIRST + len(FIELDS))
    at_s = np.array([at.timestamp() for at in columns[AT]], dtype=np.float64)
    values = {
        name: np.array(column, dtype=np.float64) for name, column in zip(FIELDS.values(), columns[FIRST:], strict=True)
    }
    return Readings(at_s=at_s, **values)
