"""thermal.coolant, battery, fuel_grade and forecast: what was measured, against the coldest hour."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from fleet.readiness.facts import Facts
from fleet.readiness.findings import Outcome
from tests.unit.facts import AMBIENT, ARRIVE, DEPART, NOW, H, S, ask, facts, known
from thermal.adapter.ambient import LATE, coldest_c
from thermal.coolant import freezing_c_from_volume

DAY = timedelta(days=1)


def at_coldest(temp_c: float, **more: Any) -> Facts:
    """The same temperature at every hour."""
    return facts(ambient=((NOW - H, temp_c), (ARRIVE + 12 * H, temp_c)), **more)


@pytest.mark.parametrize(
    ("ambient", "now", "coldest"),
    [
        (AMBIENT, NOW, -22.0),
        (((NOW - 12 * H, -40.0), (NOW, -5.0), (ARRIVE + H, -5.0)), NOW, -5.0),
        (((NOW, 0.0), (ARRIVE + LATE, -32.0), (ARRIVE + 50 * H, -80.0)), NOW, -32.0),
        (((NOW, 0.0), (ARRIVE + LATE + 32 * H, -64.0)), NOW, -32.0),
        (((NOW - 32 * H, -64.0), (NOW + 32 * H, 0.0)), NOW, -32.0),
        ((), NOW, None),
    ],
    ids=["a point on the way", "past cold is past", "just after arrival, for trips are late", "a cold point beyond "
         "reaches in", "a cold point before reaches in", "no forecast"],
)  # fmt: skip
def test_the_coldest_hour_is_looked_for_from_now_until_after_arrival(
    ambient: Any, now: datetime, coldest: float | None
) -> None:
    assert coldest_c(facts(ambient=ambient).trip, now) == coldest


def test_an_overdue_trip_arrives_later_and_may_meet_colder_hours() -> None:
    colder = facts(ambient=((NOW, -10.0), (ARRIVE + LATE, -10.0), (ARRIVE + LATE + 10 * H, -30.0)))
    assert coldest_c(colder.trip, NOW) == -10.0
    assert coldest_c(colder.trip, DEPART + 10 * H) == -30.0


# --- coolant ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("over_k", "outcome"), [(-0.1, "block"), (0.0, "block"), (0.1, "concern"), (4.9, "concern"), (5.0, "pass")]
)
def test_coolant_blocks_at_its_freezing_point_and_wants_a_margin(over_k: float, outcome: str) -> None:
    """50 % by volume: first ice at -37 °C (ASTM D3306 asks for -37 °C or colder; see thermal.coolant)."""
    assert freezing_c_from_volume(50.0) == -37.0
    finding = ask("thermal.coolant", at_coldest(-37.0 + over_k))
    assert finding.outcome == outcome
    assert finding.margin == pytest.approx(over_k)


def expiring(fact: str, value: Any, valid: timedelta) -> tuple[Facts, datetime]:
    return facts(said={fact: known(value, NOW - valid + H)}), NOW + H


MEASURED = [
    ("thermal.coolant", "inspections.coolant_glycol_pct", 50.0, 400 * DAY),
    ("thermal.battery", "inspections.battery_rest_v", {"volts": 12.7, "rest_h": 3.0, "temp_c": 10.0}, 7 * DAY),
    ("thermal.fuel_grade", "inspections.fuel_grade", "en590-2", 30 * DAY),
]


@pytest.mark.parametrize(("check", "fact", "value", "valid"), MEASURED)
def test_a_measurement_counts_until_the_moment_it_announces(
    check: str, fact: str, value: Any, valid: timedelta
) -> None:
    old, until = expiring(fact, value, valid)
    finding = ask(check, old)
    assert finding.outcome is not Outcome.UNKNOWN
    assert finding.changes_at == until
    assert ask(check, old, until - S).outcome is finding.outcome
    assert ask(check, old, until).outcome is Outcome.UNKNOWN


@pytest.mark.parametrize(("check", "fact", "value", "valid"), MEASURED)
def test_what_was_not_measured_is_unknown_and_so_is_everything_without_a_forecast(
    check: str, fact: str, value: Any, valid: timedelta
) -> None:
    assert ask(check, facts(said={fact: None})).outcome is Outcome.UNKNOWN
    assert ask(check, facts(said={fact: value}, ambient=())).outcome is Outcome.UNKNOWN


# --- battery ----------------------------------------------------------------------------------------------------------


def battery(volts: float, temp_c: float, *, rest_h: float = 3.0, nominal_v: float = 12.0, **more: Any) -> Facts:
    said = {"inspections.battery_rest_v": {"volts": volts, "rest_h": rest_h, "temp_c": 26.7}}
    return at_coldest(temp_c, said=said, design={"nominal_v": nominal_v}, **more)


@pytest.mark.parametrize(
    ("volts", "coldest", "outcome"),
    [
        (12.72, 0.0, "pass"),
        (12.72, -17.0, "pass"),  # a full battery keeps 0.40 of its power at -17.8 °C (TM 5-1185)
        (12.72, -20.0, "concern"),
        (12.0, -10.0, "block"),  # almost discharged
        (12.0, -30.0, "block"),  # and frozen: 1.16 freezes at -17 °C (TM 5-1185)
    ],
)
def test_a_battery_is_judged_by_freezing_and_cranking_at_the_coldest_hour(
    volts: float, coldest: float, outcome: str
) -> None:
    assert ask("thermal.battery", battery(volts, coldest)).outcome == outcome


def test_two_batteries_in_series_are_judged_as_twenty_four_volts() -> None:
    twelve, pair = ask("thermal.battery", battery(12.5, -5.0)), ask(
        "thermal.battery", battery(25.0, -5.0, nominal_v=24.0)
    )  # fmt: skip
    assert (twelve.outcome, twelve.measured) == (pair.outcome, pair.measured)


@pytest.mark.parametrize(("rest_h", "known_outcome"), [(1.9, False), (2.0, True), (12.0, True)])
def test_a_voltage_before_two_hours_of_rest_says_nothing(rest_h: float, known_outcome: bool) -> None:
    finding = ask("thermal.battery", battery(12.7, -5.0, rest_h=rest_h))
    assert (finding.outcome is not Outcome.UNKNOWN) == known_outcome


@pytest.mark.parametrize(("volts", "nominal"), [(25.0, 12.0), (3.0, 12.0), (12.5, 24.0)])
def test_a_voltage_no_resting_battery_has_is_unknown(volts: float, nominal: float) -> None:
    assert ask("thermal.battery", battery(volts, -5.0, nominal_v=nominal)).outcome is Outcome.UNKNOWN


def test_cold_beyond_the_method_is_unknown_and_not_an_error() -> None:
    assert ask("thermal.battery", battery(12.7, -80.0)).outcome is Outcome.UNKNOWN


# --- fuel grade -------------------------------------------------------------------------------------------------------


def test_fuel_is_judged_between_its_filterability_and_its_cloud_point() -> None:
    """EN 590 arctic class 2: CFPP -32 °C (read); gels below CFPP + 3 K, flows above the cloud point (rule)."""
    said = {"inspections.fuel_grade": "en590-2"}
    outcomes = [str(ask("thermal.fuel_grade", at_coldest(temp_c, said=said)).outcome) for temp_c in range(-40, 0)]
    assert outcomes == sorted(outcomes, key=["block", "concern", "pass"].index)
    assert set(outcomes) == {"block", "concern", "pass"}
    assert ask("thermal.fuel_grade", at_coldest(-32.1, said=said)).outcome is Outcome.BLOCK


def test_a_fuel_nobody_knows_is_never_a_pass() -> None:
    unknown = {"inspections.fuel_grade": "unknown"}
    assert {ask("thermal.fuel_grade", at_coldest(temp, said=unknown)).outcome for temp in (-30.0, -5.0, 10.0)} == {
        Outcome.BLOCK,
        Outcome.CONCERN,
    }
    made_up = {"inspections.fuel_grade": "winter"}
    assert ask("thermal.fuel_grade", at_coldest(-5.0, said=made_up)).outcome is Outcome.UNKNOWN


# --- forecast ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("age", "outcome"), [(timedelta(), "pass"), (12 * H - S, "pass"), (12 * H, "concern")])
def test_a_forecast_ages(age: timedelta, outcome: str) -> None:
    finding = ask("thermal.forecast", facts(ambient_issued_at=NOW - age))
    assert finding.outcome == outcome


def test_a_forecast_becomes_old_at_the_moment_it_announces() -> None:
    finding = ask("thermal.forecast", facts())
    assert finding.changes_at == NOW + 11 * H
    still_read = facts(values={"ambient_c": None})
    assert ask("thermal.forecast", still_read, finding.changes_at - S).outcome is Outcome.PASS
    assert ask("thermal.forecast", still_read, finding.changes_at).outcome is Outcome.CONCERN


def test_an_undated_forecast_is_a_concern() -> None:
    assert ask("thermal.forecast", facts(ambient_issued_at=None)).outcome is Outcome.CONCERN


@pytest.mark.parametrize(
    ("ambient", "outcome"),
    [
        ((), "unknown"),
        (((NOW, -10.0), (ARRIVE - S, -10.0)), "unknown"),
        (((NOW, -10.0), (ARRIVE, -10.0)), "pass"),
        (((DEPART + H, -10.0), (ARRIVE, -10.0)), "pass"),
        (((DEPART + H + S, -10.0), (ARRIVE, -10.0)), "unknown"),
    ],
    ids=["none", "ends before arrival", "ends at arrival", "an hour after departure", "begins too late"],
)
def test_a_forecast_must_cover_the_trip(ambient: Any, outcome: str) -> None:
    assert ask("thermal.forecast", facts(ambient=ambient, values={"ambient_c": None})).outcome == outcome


FLAT = ((NOW - 2 * H, -10.0), (ARRIVE + H, -10.0))


@pytest.mark.parametrize(("yard_c", "outcome"), [(-10.0, "pass"), (-14.0, "pass"), (-14.01, "concern"), (5.0, "pass")])
def test_a_yard_more_than_four_kelvin_colder_than_forecast_is_a_concern(yard_c: float, outcome: str) -> None:
    assert ask("thermal.forecast", facts(ambient=FLAT, values={"ambient_c": yard_c})).outcome == outcome


def test_a_yard_reading_counts_for_an_hour_and_announces_it() -> None:
    colder = facts(ambient=FLAT, values={"ambient_c": known(-20.0, NOW - H / 2)})
    finding = ask("thermal.forecast", colder)
    assert finding.changes_at == NOW + H / 2
    assert ask("thermal.forecast", colder, finding.changes_at - S).outcome is Outcome.CONCERN
    assert ask("thermal.forecast", colder, finding.changes_at).outcome is Outcome.PASS
