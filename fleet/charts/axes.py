"""Ticks of the time axis: whole hours of the reader's own clock, with the day where it begins."""

from __future__ import annotations

from datetime import timedelta

from fleet.charts.paper import Paper

STEPS_H = (1, 2, 3, 6, 12, 24, 48, 96, 168)


def time_ticks(since_s: float, until_s: float, *, paper: Paper, most: int) -> list[tuple[float, str]]:
    """Moments and their labels, *most* at most: `06`, and at midnight `Tue 12`."""
    hours = (until_s - since_s) / 3600
    step_h = next((step for step in STEPS_H if hours / step <= most), STEPS_H[-1])
    first = paper.local(since_s).replace(minute=0, second=0, microsecond=0)
    ticks: list[tuple[float, str]] = []
    moment_s = first.timestamp()
    while moment_s <= until_s:
        local = paper.local(moment_s)
        if moment_s >= since_s and _on_step(local.hour, local.toordinal(), step_h):
            label = f"{local:%a} {local.day}" if local.hour == 0 else f"{local.hour:02d}"
            ticks.append((moment_s, label))
        moment_s += timedelta(hours=1).total_seconds()
    return ticks


def hour_ticks(since_s: float, until_s: float, *, paper: Paper, most: int) -> list[tuple[float, str]]:
    """Whole hours from nought, *most* at most."""
    hours = (until_s - since_s) / 3600
    step_h = next((step for step in STEPS_H if hours / step <= most), STEPS_H[-1])
    return [(since_s + 3600.0 * hour, f"{hour}") for hour in range(0, int(hours) + 1, step_h)]


def _on_step(hour: int, day: int, step_h: int) -> bool:
    if step_h <= 24:
        return hour % step_h == 0
    return hour == 0 and day % (step_h // 24) == 0
