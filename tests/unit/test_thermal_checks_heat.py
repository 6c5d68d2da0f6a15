"""thermal.capacity, thermal.preheat and thermal.range: is there enough heat, is it there in time, is it too warm?"""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

import pytest
from msgspec import structs

from fleet.readiness.facts import Facts
from fleet.readiness.findings import Outcome
from fleet.readiness.registry import at_preheat
from tests.unit.facts import ARRIVE, DEPART, LOADING, NOW, POTATO, H, S, ask, facts, known, load, under_way
from thermal.adapter.forecasts import Forecast, gather

FLAT = ((NOW - H, -22.0), (ARRIVE + 9 * H, -22.0))
"""A trip as cold at every hour, so that the worst hour and the worst twelve hours are the same."""


def forecast_of(of: Facts, now: Any = NOW) -> Forecast:
    result = gather([of], now)[(of.trip.id, of.unit.id)]
    assert isinstance(result, Forecast)
    return result


def needed_kw(of: Facts) -> float:
    return forecast_of(of).nominal.capacity.needed_kw


def with_output(kw: float, **more: Any) -> Facts:
    """A unit whose heater gives *kw* after the model's derating."""
    derate = forecast_of(facts(**more)).inputs.unit.heater.derate
    return facts(design={"heater_output_kw": kw / derate}, **more)


@pytest.mark.parametrize(
    ("ratio", "outcome"),
    [(0.5, "block"), (0.999, "block"), (1.001, "concern"), (1.349, "concern"), (1.351, "pass"), (3.0, "pass")],
)
def test_capacity_blocks_below_the_need_and_asks_for_a_reserve(ratio: float, outcome: str) -> None:
    need = needed_kw(facts(ambient=FLAT))
    finding = ask("thermal.capacity", with_output(need * ratio, ambient=FLAT))
    assert finding.outcome == outcome
    assert finding.margin == pytest.approx(ratio, abs=0.006)
    assert finding.required == pytest.approx(need * 1.35, abs=0.006)


def test_the_reserve_factor_is_met_when_it_is_exactly_reached() -> None:
    ratio = forecast_of(facts()).nominal.capacity.ratio
    assert ratio is not None
    exact = facts(design={"heater_output_kw": 1.2 * 8.0 / ratio})
    reached = forecast_of(exact).nominal.capacity.ratio
    assert reached is not None
    for factor, outcome in ((reached, "pass"), (math.nextafter(reached, 9), "concern")):
        assert ask("thermal.capacity", replace_policy(exact, heat_reserve_factor=factor)).outcome == outcome


def replace_policy(of: Facts, **thresholds: float) -> Facts:
    return structs.replace(of, policy=type(of.policy)(thresholds, version=5))


def test_a_cold_hour_alone_is_a_concern_and_twelve_of_them_a_block() -> None:
    spike = ((NOW - H, -5.0), (DEPART + 9 * H, -5.0), (DEPART + 10 * H, -40.0), (DEPART + 11 * H, -5.0),
             (ARRIVE + H, -5.0))  # fmt: skip
    need = needed_kw(facts(ambient=spike))
    assert ask("thermal.capacity", with_output(need * 0.9, ambient=spike)).outcome is Outcome.CONCERN
    assert ask("thermal.capacity", with_output(need * 0.9, ambient=((NOW - H, -40.0), (ARRIVE + H, -40.0)))).outcome \
        is Outcome.BLOCK  # fmt: skip


@pytest.mark.parametrize("kw", [1.0, 2.0, 2.4])
@pytest.mark.parametrize("coldest_c", [-22.0, -25.3, -31.7])
def test_the_output_the_remedy_asks_for_is_enough(kw: float, coldest_c: float) -> None:
    flat = ((NOW - H, coldest_c), (ARRIVE + H, coldest_c))
    remedy = ask("thermal.capacity", with_output(kw, ambient=flat)).remedy
    assert remedy is not None
    assert remedy.amount is not None
    assert ask("thermal.capacity", with_output(remedy.amount, ambient=flat)).outcome is remedy.then is Outcome.PASS


def test_a_trip_that_is_never_colder_than_its_set_point_needs_no_capacity() -> None:
    warm = ((NOW - H, 10.0), (ARRIVE + H, 12.0))
    assert ask("thermal.capacity", facts(ambient=warm, design={"heater_output_kw": 0.5})).outcome is Outcome.PASS


MISSING: dict[str, dict[str, Any]] = {
    "no K value": {"design": {"k_w_m2k": None}},
    "no surface": {"design": {"area_m2": None}},
    "no heat output": {"design": {"heater_output_kw": None}},
    "no forecast": {"ambient": ()},
    "forecast ends before arrival": {"ambient": ((NOW - H, -10.0), (ARRIVE - S, -10.0))},
    "forecast begins too late": {"ambient": ((DEPART + H + S, -10.0), (ARRIVE, -10.0))},
    "no load temperature": {"loads": [load(temperature_c=None)], "values": {"cargo_c": None}},
    "no damage limit": {"loads": [load(damage_c=None)]},
    "no warm limit": {"loads": [load(high_c=None)]},
    "no set point": {"loads": [load(set_point_c=None)]},
    "physics refuses the K value": {"design": {"k_w_m2k": 1e6}},
}
ASKED = ("capacity", "fuel", "range", "time_to_damage", "chance", "preheat")


@pytest.mark.parametrize("missing", MISSING.values(), ids=MISSING)
@pytest.mark.parametrize("check", ASKED)
def test_what_the_model_cannot_be_asked_is_unknown_and_says_what_is_missing(
    check: str, missing: dict[str, Any]
) -> None:
    finding = ask(f"thermal.{check}", facts(**missing))
    assert finding.outcome is Outcome.UNKNOWN
    assert len(finding.message) > 20


@pytest.mark.parametrize("check", ASKED)
def test_a_forecast_that_just_reaches_serves(check: str) -> None:
    exact = facts(ambient=((DEPART + H, -10.0), (ARRIVE, -10.0)))
    assert ask(f"thermal.{check}", exact).outcome is not Outcome.UNKNOWN


@pytest.mark.parametrize("check", [*ASKED, "coolant", "battery", "fuel_grade", "forecast"])
def test_no_need_of_heat_is_a_pass_that_says_so(check: str) -> None:
    for loads in ([], [load(no_heat_needed=True, damage_c=None)]):
        finding = ask(f"thermal.{check}", facts(loads=loads, ambient=(), said=dict.fromkeys(
            ("inspections.coolant_glycol_pct", "inspections.battery_rest_v", "inspections.fuel_grade"))))  # fmt: skip
        assert (finding.outcome, finding.message) == (Outcome.PASS, "Not needed: the load needs no heat.")


def test_a_tested_or_learned_k_value_stands_in_for_the_design() -> None:
    tested = facts(design={"k_w_m2k": None}, unit={"k_test_w_m2k": 0.5, "k_tested_on": NOW.date()})
    learned = facts(design={"k_w_m2k": None}, said={"thermal.k_w_m2k": {"k_w_m2k": 0.6}})
    assert [forecast_of(of).inputs.k_source for of in (facts(), tested, learned)] == ["design", "tested", "learned"]
    assert needed_kw(learned) == pytest.approx(needed_kw(facts()) * 0.6 / 0.45)


# --- preheat ----------------------------------------------------------------------------------------------------------


def box_at(air_c: float, at: Any = NOW, **more: Any) -> Facts:
    return facts(values={"return_air_c": known(air_c, at)} | more.pop("values", {}), **more)


@pytest.mark.parametrize(("air_c", "outcome"), [(6.0, "pass"), (5.99, "pending"), (30.0, "pass"), (-10.0, "pending")])
def test_a_box_within_tolerance_is_warm(air_c: float, outcome: str) -> None:
    assert ask("thermal.preheat", box_at(air_c)).outcome == outcome


def test_a_cold_box_is_pending_until_preheat_is_due_and_a_concern_from_then() -> None:
    due = at_preheat(facts())
    cold = facts(values={"return_air_c": None})
    before = ask("thermal.preheat", cold, due - S)
    assert (before.outcome, before.due_at, before.changes_at) == (Outcome.PENDING, due, due)
    after = ask("thermal.preheat", cold, due)
    assert after.outcome is Outcome.CONCERN
    assert after.remedy is not None


def test_too_little_time_to_warm_the_box_blocks_from_the_announced_moment_on() -> None:
    cold = facts(values={"return_air_c": None})
    announced = ask("thermal.preheat", cold, at_preheat(cold)).changes_at
    assert announced is not None
    assert ask("thermal.preheat", cold, announced - S).outcome is Outcome.CONCERN
    late = ask("thermal.preheat", cold, announced + S)
    assert late.outcome is Outcome.BLOCK
    assert late.remedy is not None
    assert late.remedy.action == "load_later"


def test_a_box_that_needs_longer_than_the_policy_allows_announces_its_block() -> None:
    """It once announced only the policy's preheat, by when it was too late."""
    slow = facts(
        values={"return_air_c": None}, design={"heater_output_kw": 7.0}, policy={"preheat_h": 0.25},
        ambient=((NOW - H, -40.0), (ARRIVE + H, -40.0)),
    )  # fmt: skip
    finding = ask("thermal.preheat", slow)
    assert finding.outcome is Outcome.PENDING
    assert finding.required is not None
    assert finding.required > 0.25
    assert finding.changes_at is not None
    assert finding.changes_at < at_preheat(slow)
    assert ask("thermal.preheat", slow, finding.changes_at - S).outcome is Outcome.PENDING
    assert ask("thermal.preheat", slow, finding.changes_at + S).outcome is Outcome.BLOCK


def test_a_box_that_cannot_get_warm_blocks_at_once() -> None:
    weak = box_at(-30.0, design={"heater_output_kw": 0.5}, ambient=((NOW - H, -30.0), (ARRIVE + H, -30.0)))
    finding = ask("thermal.preheat", weak)
    assert finding.outcome is Outcome.BLOCK
    assert "never gets to 7 °C" in finding.message


def test_old_air_does_not_show_a_warm_box_and_its_expiry_is_announced() -> None:
    warm = box_at(7.0, NOW - 59 * H / 60)
    finding = ask("thermal.preheat", warm)
    assert finding.outcome is Outcome.PASS
    assert finding.changes_at == NOW + H / 60
    assert ask("thermal.preheat", warm, finding.changes_at - S).outcome is Outcome.PASS
    assert ask("thermal.preheat", warm, finding.changes_at).outcome is Outcome.PENDING


def test_once_loading_has_begun_a_cold_box_is_a_concern() -> None:
    late = box_at(2.0, LOADING)
    assert ask("thermal.preheat", late, LOADING - S).outcome is not Outcome.PASS
    assert ask("thermal.preheat", late, LOADING).outcome is Outcome.CONCERN


# --- range ------------------------------------------------------------------------------------------------------------


def test_an_edge_below_the_agreed_range_is_a_concern_and_at_it_is_not() -> None:
    edge_c = forecast_of(facts()).nominal.coldest_edge_c
    assert edge_c is not None
    assert ask("thermal.range", facts(loads=[load(low_c=edge_c)])).outcome is Outcome.PASS
    below = ask("thermal.range", facts(loads=[load(low_c=edge_c + 0.01)]))
    assert below.outcome is Outcome.CONCERN
    assert below.measured == pytest.approx(edge_c, abs=0.006)


def test_ambient_that_drives_the_load_above_its_limit_blocks() -> None:
    hot = ((NOW - H, 38.0), (ARRIVE + H, 38.0))
    finding = ask("thermal.range", facts(loads=[load(mass_kg=1000.0)], ambient=hot))
    assert finding.outcome is Outcome.BLOCK
    assert "A heater cannot cool it." in finding.message
    warmest_c = forecast_of(facts(ambient=hot)).nominal.warmest_c
    assert warmest_c is not None
    assert ask("thermal.range", facts(loads=[load(high_c=warmest_c + 0.01)], ambient=hot)).outcome is Outcome.PASS
    assert ask("thermal.range", facts(loads=[load(high_c=warmest_c)], ambient=hot)).outcome is Outcome.BLOCK


EMPTY = {
    "agreed ranges that do not meet": [load(low_c=2.0, high_c=6.0), load(low_c=13.0, high_c=15.0)],
    "ranges that only touch": [load(low_c=2.0, high_c=13.0), load(low_c=13.0, high_c=15.0)],
    "a damage limit above another's warm limit": [load(low_c=2.0, high_c=6.0), load(low_c=None, damage_c=10.0)],
    "below zero, where nought is a limit too": [load(low_c=-9.0, high_c=-5.0, damage_c=-9.0, freezes_c=-9.0),
                                                load(low_c=0.0, damage_c=0.0)],
}  # fmt: skip


@pytest.mark.parametrize("loads", EMPTY.values(), ids=EMPTY)
def test_a_mixed_load_that_no_temperature_suits_blocks_and_cannot_be_released(loads: Any) -> None:
    finding = ask("thermal.range", facts(loads=loads))
    assert (finding.outcome, finding.releasable) == (Outcome.BLOCK, False)
    assert "No temperature suits all of the load" in finding.message
    assert finding.remedy is not None
    assert finding.remedy.action == "split_load"


def test_a_mixed_load_is_forecast_between_its_coldest_and_warmest_part() -> None:
    mixed = facts(loads=[load(temperature_c=6.0), load(temperature_c=10.0)], values={"cargo_c": None})
    start = forecast_of(mixed).inputs.trip.start
    assert start is not None
    assert (start.edge_c, start.core_c) == (6.0, 10.0)
    governed = forecast_of(facts(loads=[load(damage_c=-0.6), load(damage_c=2.0)])).inputs.load
    assert governed is not None
    assert (governed.damage_limit_c, governed.mass_kg) == (2.0, 2 * POTATO.mass_kg)


# --- overdue and under way --------------------------------------------------------------------------------------------


def test_an_overdue_trip_is_forecast_from_now_with_its_stops_as_late_as_it_is() -> None:
    late = forecast_of(facts(), DEPART + 2 * H)
    on_time = forecast_of(facts())
    assert late.inputs.starts_at == DEPART + 2 * H
    assert late.inputs.trip.stops == on_time.inputs.trip.stops
    assert late.inputs.trip.hours == on_time.inputs.trip.hours


def test_an_overdue_trip_outruns_its_forecast_in_the_end() -> None:
    story = facts()  # the forecast ends 10 h after the planned arrival
    assert ask("thermal.capacity", story, DEPART + 10 * H).outcome is Outcome.PASS
    assert ask("thermal.capacity", story, DEPART + 10 * H + S).outcome is Outcome.UNKNOWN


@pytest.mark.parametrize(("age", "air_c"), [(timedelta(), 3.0), (H, 3.0), (H + S, None)])
def test_under_way_the_forecast_starts_from_fresh_measured_air(age: timedelta, air_c: float | None) -> None:
    now = DEPART + 5 * H
    inputs = forecast_of(under_way(values={"return_air_c": known(3.0, now - age)}), now).inputs
    assert inputs.starts_at == now
    assert (inputs.trip.start.air_c if inputs.trip.start else None) == air_c


def test_under_way_only_stops_ahead_count() -> None:
    assert len(forecast_of(under_way(), DEPART + 5 * H).inputs.trip.stops) == 1
    assert forecast_of(under_way(), DEPART + 10 * H).inputs.trip.stops == ()
    midway = forecast_of(under_way(), DEPART + 8 * H + 10 * timedelta(minutes=1)).inputs.trip.stops
    assert [(stop.at_h, round(stop.duration_h * 60)) for stop in midway] == [(0.0, 15)]
