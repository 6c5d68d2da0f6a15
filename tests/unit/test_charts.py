"""What a chart shows before it is drawn: thinning that hides nothing, gaps that stay gaps, tables with the numbers."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fleet.charts import draw
from fleet.charts.axes import time_ticks
from fleet.charts.history import duty
from fleet.charts.measured import Measured
from fleet.charts.paper import INKS, POINTS, STROKES, Look, Paper, Size
from fleet.charts.picture import Limit, Line, Mark, Panel, Picture, Ribbon, Role, Span, digest_of
from fleet.charts.table import table_of
from fleet.charts.thin import broken, gap_s, gaps, thinned

HOUR = 3600.0
START = datetime(2027, 1, 12, 16, 0, tzinfo=UTC).timestamp()


def picture() -> Picture:
    at_s = START + HOUR * np.arange(13.0)
    edge = 8.0 - 0.2 * np.arange(13.0)
    lines = (
        Line("edge", Role.EDGE, at_s, edge),
        Line("cargo, measured", Role.CARGO, at_s[:3] + 60, np.array([8.1, 7.9, 7.7]), measured=True),
    )
    panel = Panel("Load", "degC", lines, (Ribbon("band", Role.EDGE, at_s, edge - 1, edge + 1),), (Limit("low", 4.0),))
    return Picture(
        title="T-1 <&> HB-104",
        since_s=START,
        until_s=START + 12 * HOUR,
        panels=(panel, Panel("Fuel", "L", (), from_zero=True)),
        spans=(Span("stop", "Vinterby depot", START + 4 * HOUR, START + 5 * HOUR),),
        marks=(Mark("alarm", "coolant-hot-2", START + HOUR),),
        now_s=START + 2.5 * HOUR,
        words=("The edge falls slowly.",),
    )


@pytest.mark.parametrize("size", list(Size))
@pytest.mark.parametrize("look", list(Look))
def test_the_same_picture_is_the_same_image_whatever_was_drawn_before(size: Size, look: Look) -> None:
    paper = Paper(size=size, look=look)
    first = draw.svg(picture(), paper), draw.png(picture(), paper)
    draw.svg(replace(picture(), title="another"), paper)
    assert (draw.svg(picture(), paper), draw.png(picture(), paper)) == first


def test_an_image_holds_no_date_and_no_document_type() -> None:
    text = draw.svg(picture(), Paper()).decode()
    assert "<dc:date>" not in text
    assert "DOCTYPE" not in text
    assert "T-1 &lt;&amp;&gt; HB-104" in text


def test_a_picture_without_a_single_point_is_drawn_all_the_same() -> None:
    empty = replace(picture(), panels=(Panel("Box", "degC", ()),), spans=(), marks=(), now_s=None)
    assert not empty.shows_anything
    assert draw.png(empty, Paper(size=Size.NARROW)).startswith(b"\x89PNG")


def test_pictures_have_one_digest_each() -> None:
    assert digest_of(picture()) == digest_of(picture())
    moved = replace(picture(), marks=(Mark("alarm", "coolant-hot-2", START + HOUR + 1),))
    assert digest_of(moved) != digest_of(picture())


def test_thinning_keeps_every_extreme_and_both_ends() -> None:
    rng = np.random.default_rng(1)
    at_s, values = np.sort(rng.uniform(0, 1e5, 5000)), rng.normal(size=5000)
    few_s, few = thinned(at_s, values, bins=100)
    assert len(few) <= 202
    assert (few.min(), few.max()) == (values.min(), values.max())
    assert (few_s[0], few_s[-1]) == (at_s[0], at_s[-1])
    assert (np.diff(few_s) > 0).all()
    edges = np.linspace(at_s[0], at_s[-1], 101)
    for low, high in pairwise(edges):
        here, kept = (at_s >= low) & (at_s < high), (few_s >= low) & (few_s < high)
        assert few[kept].min() == values[here].min()
        assert few[kept].max() == values[here].max()


def test_few_points_are_left_alone() -> None:
    at_s, values = np.arange(10.0), np.arange(10.0)
    assert thinned(at_s, values, bins=5)[0] is at_s


def test_a_silence_is_a_gap_and_no_line_crosses_it() -> None:
    at_s = np.concatenate([np.arange(0, 3600, 300.0), np.arange(9000, 12000, 300.0)])
    longer_s = gap_s(at_s)
    assert longer_s == 1800.0
    assert gaps(at_s, since_s=0.0, until_s=15000.0, longer_s=longer_s) == [(3300.0, 9000.0), (11700.0, 15000.0)]
    with_break = broken(at_s, np.ones(len(at_s)), longer_s=longer_s)[1]
    assert np.isnan(with_break).sum() == 1


def test_nothing_measured_is_one_gap() -> None:
    assert gaps(np.zeros(0), since_s=0.0, until_s=9000.0, longer_s=1800.0) == [(0.0, 9000.0)]


def test_duty_is_the_share_of_the_known_time() -> None:
    at_s = np.arange(0, 7200, 600.0)
    running = np.array([1.0] * 3 + [0.0] * 3 + [1.0] * 6)
    shares = duty(Measured(at_s, {"heater_running": running}), since_s=0.0, until_s=10800.0, bin_s=3600.0)[1]
    assert shares[:2] == pytest.approx([50.0, 100.0])
    assert np.isnan(shares[2])  # half an hour of it at most is known


def test_open_doors_end_with_the_reading_that_says_shut_or_with_silence() -> None:
    at_s = np.array([0.0, 300.0, 600.0, 900.0, 30000.0, 30300.0])
    flags = np.array([0.0, 1.0, 1.0, 0.0, 1.0, 1.0])
    spans = Measured(at_s, {"door_open": flags}).spans("door_open", kind="doors", words="open")
    assert [(span.from_s, span.until_s) for span in spans] == [(300.0, 900.0), (30000.0, 30300.0)]


def test_the_table_holds_the_lines_and_the_ranges_of_what_was_measured() -> None:
    table = table_of(picture())
    assert (table.row_s, len(table.at_s)) == (HOUR, 12)
    cells = {column.title: column.cells for column in table.columns}
    assert cells["Load: edge"][4] == pytest.approx((7.2,))
    assert cells["Load: band"][0] == pytest.approx((7.0, 9.0))
    assert cells["Load: cargo, measured"][:4] == ((8.1,), (7.9,), (7.7,), ())


def test_ticks_are_hours_of_the_readers_own_clock_over_a_change_of_the_clocks() -> None:
    berlin = Paper(zone=ZoneInfo("Europe/Berlin"))
    start = datetime(2027, 3, 27, 12, 0, tzinfo=UTC).timestamp()
    ticks = time_ticks(start, start + 24 * HOUR, paper=berlin, most=9)
    assert [label for _, label in ticks] == ["15", "18", "21", "Sun 28", "03", "06", "09", "12"]
    assert ticks[4][0] - ticks[3][0] == 2 * HOUR


def test_every_line_has_a_colour_and_a_stroke_and_no_two_in_a_panel_share_both() -> None:
    assert set(STROKES) == set(Role) == set(INKS[Look.DARK].of)
    for group in ((Role.EDGE, Role.CORE, Role.CARGO), (Role.NEEDED, Role.AVAILABLE, Role.GIVEN)):
        assert len({(INKS[Look.LIGHT].of[role], str(STROKES[role])) for role in group}) == len(group)
    assert len({POINTS[role] for role in (Role.AIR, Role.DISCHARGE, Role.AMBIENT, Role.CARGO)}) == 4


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("look", list(Look))
def test_colours_stand_out_from_their_paper(look: Look) -> None:
    """WCAG 2.2: 4.5 : 1 for text (1.4.3), 3 : 1 for what a chart needs to be understood (1.4.11)."""
    ink = INKS[look]

    def contrast(colour: str) -> float:
        pair = sorted((_luminance(colour), _luminance(ink.paper)))
        return (pair[1] + 0.05) / (pair[0] + 0.05)

    assert min(contrast(ink.ink), contrast(ink.soft), contrast(ink.harm)) >= 4.5
    assert min(contrast(colour) for colour in ink.of.values()) >= 3.0
