"""The parts of a chart: the strip of stops, doors and alarms on top, and the panels below it."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np

from fleet.charts.paper import POINTS, STROKES, Paper, Size
from fleet.charts.picture import Line, Panel, Picture
from fleet.charts.thin import broken, gap_s, thinned

BINS = {Size.WIDE: 320, Size.NARROW: 140, Size.MAIL: 200, Size.PRINT: 400}
"""Measured points are thinned to two per bin: more could not be told apart at this width."""
ORDER = ("alarm", "event", "doors", "stop")
KEY_CHARS = {Size.WIDE: 128, Size.NARROW: 62, Size.MAIL: 96, Size.PRINT: 122}
KEYS_IN_ROW = 3
"""Of a narrow chart."""
MARKERS = {"alarm": "v", "event": "|"}


def rows_of(picture: Picture) -> list[str]:
    """The rows of the strip that have something to show, from the top."""
    kinds = {span.kind for span in picture.spans} | {mark.kind for mark in picture.marks}
    return [kind for kind in ORDER if kind in kinds]


def letters(picture: Picture) -> dict[int, str]:
    """The letter of each stop, by its place in `spans`: A, B, … as they come."""
    stops = [i for i, span in enumerate(picture.spans) if span.kind == "stop"]
    return {i: chr(ord("A") + n % 26) for n, i in enumerate(stops)}


def key_words(picture: Picture, paper: Paper) -> list[str]:
    """Lines under the chart: what its letters and marks stand for, and what it leaves out."""
    named = letters(picture)
    parts = [f"{letter} {picture.spans[i].name}" for i, letter in named.items()]
    parts += [f"{mark.name} {paper.local(mark.at_s):%H:%M}" for mark in picture.marks]
    lines = textwrap.wrap(" · ".join(parts), KEY_CHARS[paper.size])
    for note in picture.notes if paper.size is not Size.MAIL else ():
        lines += textwrap.wrap(note, KEY_CHARS[paper.size])
    return lines


def draw_strip(axes: Any, picture: Picture, paper: Paper, *, rows: list[str], font_pt: float) -> None:
    """Stops as boxes with a letter, open doors as bars, alarms as triangles."""
    ink, named = paper.ink, letters(picture)
    shortest_s = (picture.until_s - picture.since_s) / 250
    for i, span in enumerate(picture.spans):
        y = len(rows) - 1 - rows.index(span.kind)
        width = max(span.until_s - span.from_s, shortest_s)
        filled = span.kind == "doors"
        axes.barh(
            y, width, left=span.from_s, height=0.55, color=ink.soft if filled else "none",
            edgecolor=ink.soft, linewidth=0.8,
        )  # fmt: skip
        if i in named:
            last = span.from_s + width > picture.until_s - 12 * shortest_s
            at_s, side = (span.from_s, "right") if last else (span.from_s + width, "left")
            axes.text(at_s, y, f" {named[i]} ", fontsize=font_pt - 1, color=ink.ink, va="center", ha=side)
    for mark in picture.marks:
        y = len(rows) - 1 - rows.index(mark.kind)
        color = ink.harm if mark.kind == "alarm" else ink.soft
        axes.plot([mark.at_s], [y], MARKERS[mark.kind], color=color, markersize=6)
    axes.set_ylim(-0.6, len(rows) - 0.4)
    axes.set_yticks(range(len(rows)), rows[::-1], fontsize=font_pt - 1)
    axes.tick_params(length=0)
    for side in axes.spines.values():
        side.set_visible(False)


def draw_panel(axes: Any, panel: Panel, picture: Picture, paper: Paper, *, font_pt: float) -> None:
    """One panel: ribbons under lines under measured points; limits across; a key above it."""
    ink = paper.ink
    axes.grid(axis="both", color=ink.line, linewidth=0.6)
    axes.set_axisbelow(True)
    for name, side in axes.spines.items():
        side.set_visible(name in ("left", "bottom"))
        side.set_color(ink.line)
    for ribbon in panel.ribbons:
        low, high = (paper.shown(side, panel.unit)[0] for side in (ribbon.low, ribbon.high))
        axes.fill_between(ribbon.at_s, low, high, color=ink.of[ribbon.role], alpha=0.22, linewidth=0, label=ribbon.name)
    for line in panel.lines:
        _draw_line(axes, line, panel, paper)
    for limit in panel.limits:
        value, _ = paper.shown(limit.value, panel.unit)
        color, dashes = (ink.harm, (0, (5, 2))) if limit.hard else (ink.soft, (0, (2, 2)))
        axes.axhline(value, color=color, linewidth=1.2, linestyle=dashes)
        axes.annotate(
            limit.name, (1.0, value), xycoords=("axes fraction", "data"), xytext=(-2, 1.5),
            textcoords="offset points", ha="right", va="bottom", fontsize=font_pt - 1.2, color=color,
        )  # fmt: skip
    _scale(axes, panel, paper)
    if picture.now_s is not None and picture.since_s <= picture.now_s <= picture.until_s:
        axes.axvline(picture.now_s, color=ink.ink, linewidth=1.0, linestyle=(0, (1, 1)))
        if panel is picture.panels[0]:
            axes.annotate(
                "now", (picture.now_s, 1.0), xycoords=("data", "axes fraction"), xytext=(2, -2),
                textcoords="offset points", va="top", fontsize=font_pt - 1, color=ink.ink,
            )  # fmt: skip
    _title(axes, panel, paper, font_pt)


def _draw_line(axes: Any, line: Line, panel: Panel, paper: Paper) -> None:
    at_s, values = line.at_s, line.values
    color = paper.ink.of[line.role]
    width, dashes = STROKES[line.role]
    if line.measured:
        longer_s = gap_s(at_s)
        at_s, values = broken(*thinned(at_s, values, bins=BINS[paper.size]), longer_s=longer_s)
    shown, _ = paper.shown(values, panel.unit)
    if line.steps:
        axes.step(at_s, shown, where="post", color=color, linewidth=width, linestyle=dashes, label=line.name)
    elif line.measured and any(other.role is line.role and not other.measured for other in panel.lines):
        # What was measured lies over what was calculated: points of their own shape, not another line.
        few = len(at_s) <= 60
        axes.plot(
            at_s, shown, POINTS.get(line.role, "o"), color=color, markersize=3.2 if few else 1.8,
            markerfacecolor=paper.ground if few else color, markeredgewidth=0.7, label=line.name,
        )  # fmt: skip
    else:
        marker = {"marker": POINTS.get(line.role, "o"), "markersize": 2.6} if line.measured and len(at_s) <= 60 else {}
        axes.plot(at_s, shown, color=color, linewidth=width, linestyle=dashes, label=line.name, **marker)


def _scale(axes: Any, panel: Panel, paper: Paper) -> None:
    """Room for everything that is drawn, and at least a few units, so that a steady value looks steady."""
    known = [paper.shown(line.values, panel.unit)[0] for line in panel.lines]
    known += [paper.shown(side, panel.unit)[0] for ribbon in panel.ribbons for side in (ribbon.low, ribbon.high)]
    known += [np.atleast_1d(np.asarray(paper.shown(limit.value, panel.unit)[0])) for limit in panel.limits]
    finite = np.concatenate([values[np.isfinite(values)] for values in map(np.asarray, known)] or [np.zeros(1)])
    low, high = (float(finite.min()), float(finite.max())) if len(finite) else (0.0, 1.0)
    if panel.from_zero:
        low = min(low, 0.0)
    room = max(high - low, 2.0 if panel.unit == "degC" else 1.0)
    middle = (low + high) / 2
    low, high = min(low, middle - room / 2), max(high, middle + room / 2)
    axes.set_ylim(0.0 if panel.from_zero and low >= 0 else low - 0.06 * room, high + 0.06 * room)
    axes.locator_params(axis="y", nbins=5 if panel.height > 1.5 else 3)


def _title(axes: Any, panel: Panel, paper: Paper, font_pt: float) -> None:
    """The panel's name with its unit on the left above it, its key beside or under that."""
    _, sign = paper.shown(0.0, panel.unit)
    narrow, rows = paper.size is Size.NARROW, key_rows(panel, paper)
    pad = 4 + (font_pt + 3) * rows if narrow else 5
    axes.set_title(f"{panel.title} [{sign}]", loc="left", fontsize=font_pt, color=paper.ink.ink, pad=pad)
    if not rows:
        return
    legend = axes.legend(
        loc="lower left" if narrow else "lower right", bbox_to_anchor=(-0.02 if narrow else 1.0, 1.0),
        ncols=KEYS_IN_ROW if narrow else 9, fontsize=font_pt - (1.2 if narrow else 1.0), frameon=False, borderpad=0.1,
        handlelength=1.7 if narrow else 2.6, columnspacing=0.8 if narrow else 1.2, handletextpad=0.5,
        borderaxespad=0.15, labelspacing=0.25, labelcolor=paper.ink.ink,
    )  # fmt: skip
    legend.set_in_layout(False)


def key_rows(panel: Panel, paper: Paper) -> int:
    """How many rows the key of a panel takes; a single series needs none, the title names it."""
    count = len(panel.lines) + len(panel.ribbons)
    if count <= 1:
        return 0
    return -(-count // KEYS_IN_ROW) if paper.size is Size.NARROW else 1
