"""Draws pictures with matplotlib: SVG for pages, PNG for mail, both the same for the same picture.

No pyplot and no global state beyond two settings made once; drawing takes turns in a process, because fonts are shared.
Text stays text in SVG (small, and read aloud); the library's font is one of the widest, so a reader's own fits.
"""

from __future__ import annotations

import re
from io import BytesIO
from threading import Lock
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
from matplotlib.figure import Figure

from fleet.charts.axes import hour_ticks, time_ticks
from fleet.charts.panels import draw_panel, draw_strip, key_rows, key_words, rows_of
from fleet.charts.paper import Paper, Size
from fleet.charts.picture import Picture

mpl.use("agg")
mpl.rcParams["svg.hashsalt"] = "warmgate"
mpl.rcParams["svg.fonttype"] = "none"

WIDTH_IN = {Size.WIDE: 9.6, Size.NARROW: 3.75, Size.MAIL: 6.2, Size.PRINT: 8.6}
PANEL_IN = {Size.WIDE: 1.0, Size.NARROW: 1.0, Size.MAIL: 1.1, Size.PRINT: 0.85}
TICKS = {Size.WIDE: 14, Size.NARROW: 5, Size.MAIL: 9, Size.PRINT: 12}
FONT_PT = {Size.WIDE: 9.0, Size.NARROW: 7.5, Size.MAIL: 8.5, Size.PRINT: 8.5}
PNG_DPI = {Size.WIDE: 120, Size.NARROW: 160, Size.MAIL: 96, Size.PRINT: 170}
LEFT = {Size.WIDE: 0.07, Size.NARROW: 0.155, Size.MAIL: 0.105, Size.PRINT: 0.075}
RIGHT = 0.985
TOP_IN, STRIP_ROW_IN, HEAD_IN, KEY_ROW_IN = 0.38, 0.22, 0.38, 0.135
MAIL_PANELS = 2
_one_at_a_time = Lock()


def svg(picture: Picture, paper: Paper) -> bytes:
    """The picture as SVG with a title and a description; byte for byte the same for the same picture."""
    out = BytesIO()
    with _one_at_a_time:
        figure = _figure(picture, paper)
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return _described(out.getvalue().decode(), picture).encode()


def png(picture: Picture, paper: Paper) -> bytes:
    """The picture as PNG."""
    out = BytesIO()
    with _one_at_a_time:
        figure = _figure(picture, paper)
        figure.savefig(out, format="png", dpi=PNG_DPI[paper.size], metadata={"Software": None, "Title": picture.title})
    return out.getvalue()


def drawn(picture: Picture, paper: Paper, *, form: str) -> bytes:
    """The picture in one of the two forms, `svg` or `png`."""
    return {"svg": svg, "png": png}[form](picture, paper)


def _figure(picture: Picture, paper: Paper) -> Figure:
    """Everything from the top: title, strip, panels, and the key at the foot. Heights in inches, so that a chart with
    more panels is taller and not denser."""
    panels = picture.panels[:MAIL_PANELS] if paper.size is Size.MAIL else picture.panels
    rows, key, font_pt = rows_of(picture), key_words(picture, paper), FONT_PT[paper.size]
    heads = [HEAD_IN + (KEY_ROW_IN * key_rows(panel, paper) if paper.size is Size.NARROW else 0.0) for panel in panels]
    strip_in, foot_in = STRIP_ROW_IN * len(rows), 0.3 + 0.0195 * font_pt * len(key)
    heights = [panel.height * PANEL_IN[paper.size] for panel in panels]
    total_in = TOP_IN + strip_in + 0.05 + sum(heights) + sum(heads) + foot_in
    figure = Figure(figsize=(WIDTH_IN[paper.size], total_in), facecolor=paper.ground)
    left = LEFT[paper.size]
    figure.text(
        left, 1 - 0.3 / total_in, picture.title, fontsize=font_pt + 1.5, color=paper.ink.ink, weight="bold"
    )  # fmt: skip
    ticks_of = hour_ticks if picture.relative else time_ticks
    ticks = ticks_of(picture.since_s, picture.until_s, paper=paper, most=TICKS[paper.size])
    top_in = total_in - TOP_IN

    def axes_of(height_in: float, head_in: float) -> Any:
        nonlocal top_in
        top_in -= height_in + head_in
        axes = figure.add_axes((left, top_in / total_in, RIGHT - left, height_in / total_in), facecolor="none")
        axes.set_xlim(picture.since_s, picture.until_s)
        axes.tick_params(labelsize=font_pt - 0.5, colors=paper.ink.ink, length=2.5, color=paper.ink.line)
        axes.set_xticks([at for at, _ in ticks], [""] * len(ticks))
        return axes

    if rows:
        draw_strip(axes_of(strip_in, 0.05), picture, paper, rows=rows, font_pt=font_pt)
    for panel, height_in, head_in in zip(panels, heights, heads, strict=True):
        axes = axes_of(height_in, head_in)
        draw_panel(axes, panel, picture, paper, font_pt=font_pt)
        if panel is panels[-1]:
            axes.set_xticklabels([label for _, label in ticks])
    if key:
        figure.text(
            left, 0.07 / total_in, "\n".join(key), fontsize=font_pt - 0.8, color=paper.ink.soft, va="bottom",
            linespacing=1.25,
        )  # fmt: skip
    return figure


_OPENING = re.compile(r"<svg\b[^>]*>", re.DOTALL)


def _described(text: str, picture: Picture) -> str:
    """The same SVG without a document type, with the words that a screen reader says."""
    start = _OPENING.search(text)
    assert start is not None
    head = start.group()[:-1] + ' role="img" aria-labelledby="chart-title chart-desc">'
    words = (
        f'\n <title id="chart-title">{escape(picture.title)}</title>'
        f'\n <desc id="chart-desc">{escape(" ".join(picture.words))}</desc>'
    )
    return '<?xml version="1.0" encoding="utf-8"?>\n' + head + words + text[start.end() :]
