"""A picture in numbers: rows of equal length in time, for people who cannot see it and for whoever checks it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.charts.picture import Line, Picture, Ribbon

LENGTHS_S = tuple(3600.0 * hours for hours in (1, 2, 3, 6, 12, 24))
MOST_ROWS = 49


@dataclass(frozen=True, slots=True)
class Column:
    """One line of the chart: its name, its metric unit, and what each row shows: one value, or the lowest and the
    highest that were measured; an empty tuple where nothing is known."""

    title: str
    unit: str
    cells: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows begin at `at_s` (n,) and are `row_s` long."""

    at_s: tuple[float, ...]
    row_s: float
    columns: tuple[Column, ...]


def table_of(picture: Picture) -> Table:
    """The picture's lines and ribbons, hour by hour or as many hours as keep it under fifty rows."""
    span_s = picture.until_s - picture.since_s
    row_s = next((length for length in LENGTHS_S if span_s / length < MOST_ROWS), LENGTHS_S[-1])
    first = np.floor(picture.since_s / row_s) * row_s
    at_s = np.arange(first, picture.until_s, row_s)
    columns = []
    for panel in picture.panels:
        for ribbon in panel.ribbons:
            columns.append(Column(f"{panel.title}: {ribbon.name}", panel.unit, _ribbon_cells(ribbon, at_s)))
        for line in panel.lines:
            cells = _measured_cells(line, at_s, row_s) if line.measured else _calculated_cells(line, at_s)
            columns.append(Column(f"{panel.title}: {line.name}", panel.unit, cells))
    return Table(tuple(at_s.tolist()), row_s, tuple(columns))


def _calculated_cells(line: Line, at_s: np.ndarray) -> tuple[tuple[float, ...], ...]:
    if line.steps:
        place = np.searchsorted(line.at_s, at_s, side="right") - 1
        values = np.where(place >= 0, line.values[np.maximum(place, 0)], np.nan)
    else:
        values = np.interp(at_s, line.at_s, line.values, left=np.nan, right=np.nan)
    return tuple((float(value),) if np.isfinite(value) else () for value in values)


def _ribbon_cells(ribbon: Ribbon, at_s: np.ndarray) -> tuple[tuple[float, ...], ...]:
    low = np.interp(at_s, ribbon.at_s, ribbon.low, left=np.nan, right=np.nan)
    high = np.interp(at_s, ribbon.at_s, ribbon.high, left=np.nan, right=np.nan)
    return tuple((float(a), float(b)) if np.isfinite(a + b) else () for a, b in zip(low, high, strict=True))


def _measured_cells(line: Line, at_s: np.ndarray, row_s: float) -> tuple[tuple[float, ...], ...]:
    cells: list[tuple[float, ...]] = []
    for start in at_s:
        inside = line.values[(line.at_s >= start) & (line.at_s < start + row_s)]
        inside = inside[np.isfinite(inside)]
        if not len(inside):
            cells.append(())
        else:
            low, high = float(inside.min()), float(inside.max())
            cells.append((low,) if low == high else (low, high))
    return tuple(cells)
