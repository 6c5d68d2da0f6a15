"""Weather: the forecast's error has the stated spread, memory and tails; files are read or refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fleet.simulator.errors import SimulatorError
from fleet.simulator.quantities import Risk, filled
from fleet.simulator.weather import at_time, forecast_error, winter_series
from fleet.simulator.weather_file import read_weather

N = 20_000


def errors(**changes: float) -> np.ndarray:
    """Return the errors of many worlds over two days, shape (49, N)."""
    risk = filled(Risk, N, **{name: np.full(N, value) for name, value in changes.items()})
    return forecast_error(risk, hours=48, rng=np.random.default_rng(2))


def test_the_error_grows_with_lead_time() -> None:
    spread = errors(forecast_tail_df=np.inf, lead_h=12.0).std(axis=1)
    assert spread[0] == pytest.approx(np.hypot(1.2, 0.25), rel=0.03)
    assert spread[48] == pytest.approx(np.hypot(1.2, 1.25), rel=0.03)


def test_the_error_remembers_for_a_day() -> None:
    series = errors(forecast_tail_df=np.inf)
    assert np.corrcoef(series[0], series[24])[0, 1] == pytest.approx(np.exp(-1.0), abs=0.03)
    assert np.corrcoef(series[10], series[11])[0, 1] == pytest.approx(np.exp(-1 / 24), abs=0.01)


def test_heavy_tails_keep_the_spread_but_reach_further() -> None:
    normal, heavy = errors(forecast_tail_df=np.inf)[0], errors(forecast_tail_df=6.0)[0]
    assert heavy.std() == pytest.approx(normal.std(), rel=0.05)
    assert np.mean(np.abs(heavy) > 3 * 1.2) > 2 * np.mean(np.abs(normal) > 3 * 1.2)


def test_hours_are_joined_by_straight_lines_and_the_last_one_holds() -> None:
    hourly = np.array([[0.0], [4.0], [2.0]])
    assert [at_time(hourly, hours)[0] for hours in (0.0, 0.25, 1.5, 2.0, 9.0)] == [0.0, 1.0, 3.0, 2.0, 2.0]


def test_the_made_up_winter_is_a_winter() -> None:
    series = winter_series(hours=24 * 60, rng=np.random.default_rng(1))
    assert len(series) == 24 * 60 + 1
    assert -25.0 < series.mean() < -4.0
    assert 4.0 < series.std() < 10.0


def test_short_gaps_are_bridged_and_notes_skipped() -> None:
    text = "# a note\nhour_utc,temp_c\n0,-10\n1,-11\n4,-14\n5,-13\n"
    assert list(read_weather(text.splitlines(), hours=4, first=1)) == [-11.0, -12.0, -13.0, -14.0, -13.0]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("hour,wind\n0,3\n1,4\n", "no column"),
        ("hour,temp_c\n0,-3\n1,\n2,-4\n", "data row 1"),
        ("temp_c\n-3\n-400\n", "outside"),
        ("temp_c\n-3\n-4\n", "does not cover"),
        ("hour,temp_c\n0,-3\n8,-4\n", "gap of 8 hours"),
        ("hour,temp_c\n1,-3\n0,-4\n", "does not come after"),
    ],
)
def test_a_file_that_does_not_say_is_refused(text: str, what: str) -> None:
    with pytest.raises(SimulatorError, match=what):
        read_weather(text.splitlines(), hours=6)


def test_the_observed_winter_is_read_with_its_missing_hours() -> None:
    with Path("fixtures/weather/northway-2019.csv").open(encoding="utf-8") as lines:
        series = read_weather(lines, hours=240, first=100)
    assert series.min() == -43.9  # NOAA ISD-Lite 702910, 2019-01-08 10:00 UTC
    assert len(series) == 241
