"""The time to damage, read from a forecast and said to a person."""

from __future__ import annotations

import doctest
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import alarms.damage
from alarms.damage import Damage, damage_of, damage_sentence

AT = datetime(2027, 1, 12, 1, 40, tzinfo=UTC)


def test_the_sentence_is_in_the_fleet_s_own_time() -> None:
    said = damage_sentence(Damage(2.6, AT, -0.6), zone=ZoneInfo("Europe/Helsinki"))
    assert said == "edge of the load reaches −0.6 °C at about 03:40 (2.6 h)"


def test_what_may_have_happened_already_is_not_put_into_the_future() -> None:
    assert damage_sentence(Damage(0.0, AT, -0.6), zone=UTC) == "edge of the load may have reached −0.6 °C"


def test_a_forecast_without_an_estimate_or_a_load_without_a_limit_gives_none() -> None:
    forecast = {"damage_after_now_h": 2.6, "damage_at": "2027-01-12T01:40:00Z"}
    assert damage_of({"forecast": forecast}, limit_c=-0.6) == Damage(2.6, AT, -0.6)
    assert damage_of({"forecast": forecast}, limit_c=None) is None
    assert damage_of({"forecast": {"damage_after_now_h": None, "damage_at": None}}, limit_c=-0.6) is None
    assert damage_of({"forecast": None}, limit_c=-0.6) is None
    assert damage_of({}, limit_c=-0.6) is None


def test_the_example_in_the_docstring_is_true() -> None:
    assert doctest.testmod(alarms.damage).failed == 0
