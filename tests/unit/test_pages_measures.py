"""Values and sentences in the reader's own units."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from fleet.pages.measures import measure, sentence
from fleet.pages.reader import Reader

NOW = datetime(2027, 1, 12, 20, 0, tzinfo=UTC)
METRIC = Reader("c", "l", UTC, "system", NOW)
FOOTED = Reader("f", "gal", ZoneInfo("America/Winnipeg"), "system", NOW)


@pytest.mark.parametrize(
    ("value", "unit", "metric", "footed"),
    [
        # -40 is the same on both scales; 0 degC is 32 degF (definition of the Fahrenheit scale, NIST SP 811, B.9).
        (-40.0, "degC", "−40.0\u202f°C", "−40.0\u202f°F"),
        (0.0, "degC", "0.0\u202f°C", "32.0\u202f°F"),
        (10.0, "K", "10.0\u202fK", "18.0\u202f°F"),
        # 1 US gallon is 3.785 411 784 L (NIST Handbook 44, appendix C).
        (37.85411784, "L", "38\u202fL", "10\u202fgal"),
        (1.1, "h", "1.1\u202fh", "1.1\u202fh"),
    ],
)
def test_a_value_is_said_in_the_readers_unit(value: float, unit: str, metric: str, footed: str) -> None:
    assert measure(value, unit, METRIC) == metric
    assert measure(value, unit, FOOTED) == footed


def test_nothing_measured_is_nothing_said() -> None:
    assert measure(None, "degC", METRIC) == ""


def test_zero_has_no_minus() -> None:
    assert measure(-0.01, "degC", METRIC) == "0.0\u202f°C"


@pytest.mark.parametrize(
    ("said", "heard"),
    [
        ("Set point 44 °C is outside the load's 4 to 10 °C.", "Set point 111 °F is outside the load's 39 to 50 °F."),
        ("The load needs −5.0 °C or more, at most 0 °C.", "The load needs 23 °F or more, at most 32 °F."),
        ("73 L usable; 96 L needed.", "19.3 gal usable; 25.4 gal needed."),
        ("It is 5.0 K colder at the unit.", "It is 9 °F colder at the unit."),
        ("Unit HB-104 K value", "Unit HB-104 K value"),
        ("due on by 16:30 UTC.", "due on by 10:30."),
        ("until 2027-01-13 02:00 UTC.", "until Tue 12 Jan 20:00."),
    ],
)
def test_a_sentence_is_said_in_the_readers_units(said: str, heard: str) -> None:
    assert sentence(said, FOOTED) == heard


def test_a_metric_reader_in_utc_reads_what_was_stored_but_for_the_zones_name() -> None:
    assert sentence("44 °C and 96 L at 16:30 UTC", METRIC) == "44 °C and 96 L at 16:30"


def test_a_time_of_day_is_the_nearest_one() -> None:
    """01:30 UTC, said at 20:00 UTC, is tomorrow's: 19:30 the evening before in Winnipeg."""
    assert sentence("at 01:30 UTC", FOOTED) == "at 19:30"
