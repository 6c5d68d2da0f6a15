"""thermal.fuel, thermal.time_to_damage and thermal.chance: does it last, is there time for help, what are the odds?"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from fleet.readiness.facts import Facts
from fleet.readiness.findings import Outcome
from tests.unit.facts import ARRIVE, DEPART, NOW, STOPS, H, S, ask, facts, known, load, under_way
from tests.unit.test_thermal_checks_heat import forecast_of
from thermal.adapter.checks.fuel import burnt_before_departure_l, reserve_l
from thermal.adapter.forecasts import RANK_FROM, Forecast, gather

COLD = ((NOW - H, -35.0), (ARRIVE + H, -35.0))
LIGHT = [load(mass_kg=500.0)]
"""Little mass at -35 degC: heat lost is felt within the hour, and the score is below the ready line."""


def with_fuel(fuel_l: float, **more: Any) -> Facts:
    return facts(values={"fuel_l": fuel_l} | more.pop("values", {}), **more)


def needs(of: Facts, now: Any = NOW) -> tuple[float, float]:
    """Litres to the next fill, and the reserve, of the first leg."""
    forecast = forecast_of(of, now)
    leg = forecast.nominal.legs[0]
    return leg.need_l + burnt_before_departure_l(of, forecast, now), reserve_l(of, forecast, leg.need_l)


@pytest.mark.parametrize(
    ("over_need_l", "of_reserve", "outcome"),
    [(-0.01, 0.0, "block"), (0.01, 0.0, "concern"), (-0.01, 1.0, "concern"), (0.01, 1.0, "pass")],
)
def test_fuel_blocks_below_the_need_and_asks_for_the_reserve(
    over_need_l: float, of_reserve: float, outcome: str
) -> None:
    need_l, reserve = needs(facts())
    finding = ask("thermal.fuel", with_fuel(15.0 + need_l + of_reserve * reserve + over_need_l))
    assert finding.outcome == outcome
    assert finding.required == pytest.approx(need_l + reserve, abs=0.06)


@pytest.mark.parametrize("fuel_l", [15.0, 16.0, 17.3, 20.0, 25.0, 30.0, 33.0])
@pytest.mark.parametrize("coldest_c", [-22.0, -33.3])
def test_the_litres_the_remedy_asks_for_are_enough(fuel_l: float, coldest_c: float) -> None:
    ambient = ((NOW - H, coldest_c), (ARRIVE + H, coldest_c))
    finding = ask("thermal.fuel", with_fuel(fuel_l, ambient=ambient))
    assert finding.outcome in (Outcome.BLOCK, Outcome.CONCERN)
    assert finding.remedy is not None
    assert finding.remedy.amount is not None
    filled = ask("thermal.fuel", with_fuel(fuel_l + finding.remedy.amount, ambient=ambient))
    assert filled.outcome is finding.remedy.then is Outcome.PASS
    less = ask("thermal.fuel", with_fuel(fuel_l + finding.remedy.amount - 1.2, ambient=ambient))
    assert less.outcome is not Outcome.PASS


def test_a_tank_too_small_for_the_reserve_is_filled_up_and_says_what_that_leads_to() -> None:
    small = with_fuel(20.0, design={"tank_l": 30.0})
    finding = ask("thermal.fuel", small)
    assert finding.remedy is not None
    assert (finding.remedy.amount, finding.remedy.then) == (10.0, Outcome.CONCERN)
    assert ask("thermal.fuel", with_fuel(30.0, design={"tank_l": 30.0})).outcome is Outcome.CONCERN


@pytest.mark.parametrize("fuel_l", [40.0, 400.0])
def test_a_full_tank_that_does_not_reach_needs_a_further_fill_and_not_a_fuller_tank(fuel_l: float) -> None:
    thirsty = {"tank_l": 40.0, "burn_high_l_h": 20.0, "burn_low_l_h": 1.0}
    remedy = ask("thermal.fuel", with_fuel(fuel_l, design=thirsty)).remedy
    assert remedy is not None
    assert (remedy.action, remedy.amount) == ("plan_fill", None)


def test_a_later_leg_that_is_too_long_is_not_mended_by_refuelling_before_departure() -> None:
    early = (replace(STOPS[0], arrive_at=DEPART + H, leave_at=DEPART + 2 * H), STOPS[1])
    long_leg = with_fuel(36.0, stops=early, design={"tank_l": 40.0, "burn_high_l_h": 6.0}, policy={
        "fuel_reserve_l": 0.0, "fuel_reserve_share": 0.0, "fuel_reserve_h": 0.0})  # fmt: skip
    finding = ask("thermal.fuel", long_leg)
    assert finding.outcome is Outcome.BLOCK
    assert "the last arrival" in finding.message
    assert finding.remedy is not None
    assert finding.remedy.action == "plan_fill"


@pytest.mark.parametrize(
    ("policy", "reserve"),
    [
        ({"fuel_reserve_l": 20.0, "fuel_reserve_share": 0.0, "fuel_reserve_h": 0.0}, "litres"),
        ({"fuel_reserve_l": 0.0, "fuel_reserve_share": 2.0, "fuel_reserve_h": 0.0}, "share"),
        ({"fuel_reserve_l": 0.0, "fuel_reserve_share": 0.0, "fuel_reserve_h": 50.0}, "hours"),
    ],
)
def test_the_largest_of_the_three_reserves_counts(policy: dict[str, float], reserve: str) -> None:
    of = facts(policy=policy)
    forecast = forecast_of(of)
    duty = 1.0 / (forecast.nominal.capacity.ratio or math.inf)
    expected = {"litres": 20.0, "share": 2.0 * 9.0, "hours": 50.0 * duty * 1.1}[reserve]
    assert reserve_l(of, forecast, 9.0) == pytest.approx(expected)


def test_fuel_burnt_while_the_box_is_kept_warm_before_departure_counts() -> None:
    early, late = needs(facts(), NOW), needs(facts(), DEPART)
    assert early[0] > late[0]
    on_road = under_way()
    assert burnt_before_departure_l(on_road, forecast_of(on_road, DEPART + H), DEPART + H) == 0.0


def test_without_a_fresh_fuel_reading_fuel_is_unknown_from_the_announced_moment_on() -> None:
    assert ask("thermal.fuel", facts(values={"fuel_l": None})).outcome is Outcome.UNKNOWN
    parked = facts(values={"fuel_l": known(150.0, NOW - 47 * H)})
    finding = ask("thermal.fuel", parked)
    assert finding.outcome is Outcome.PASS
    assert finding.changes_at == NOW + H
    assert ask("thermal.fuel", parked, finding.changes_at - S).outcome is Outcome.PASS
    assert ask("thermal.fuel", parked, finding.changes_at).outcome is Outcome.UNKNOWN


def test_a_newer_dip_wins_over_the_gauge() -> None:
    dipped = with_fuel(150.0, said={"inspections.fuel_dip_l": known(16.0, NOW + S)})
    assert ask("thermal.fuel", dipped, NOW + S).outcome is Outcome.BLOCK


def test_times_in_the_forecast_are_utc_with_z() -> None:
    thirsty = {"tank_l": 40.0, "burn_high_l_h": 20.0, "burn_low_l_h": 1.0}
    numbers = ask("thermal.fuel", with_fuel(40.0, design=thirsty)).contributes["forecast"]
    assert numbers["fuel_out_at"].endswith("Z")


# --- time to damage ---------------------------------------------------------------------------------------------------


def least_h(of: Facts) -> float:
    return float(forecast_of(of).nominal.damage_after_h.min())


def test_help_must_come_before_the_damage() -> None:
    light = facts(loads=LIGHT, ambient=COLD)
    hours = least_h(light)
    assert ask("thermal.time_to_damage", facts(loads=LIGHT, ambient=COLD, help_p90_h=hours)).outcome is Outcome.PASS
    slower = facts(loads=LIGHT, ambient=COLD, help_p90_h=math.nextafter(hours, 99))
    assert ask("thermal.time_to_damage", slower).outcome is Outcome.CONCERN


def test_help_as_fast_as_the_remedy_asks_is_fast_enough() -> None:
    remedy = ask("thermal.time_to_damage", facts(loads=LIGHT, ambient=COLD)).remedy
    assert remedy is not None
    assert remedy.amount is not None
    arranged = facts(loads=LIGHT, ambient=COLD, help_p90_h=remedy.amount, help_median_h=0.5)
    assert ask("thermal.time_to_damage", arranged).outcome is remedy.then is Outcome.PASS


def test_without_a_help_time_of_the_trip_the_policy_says_how_long_help_takes() -> None:
    unsaid = {"help_median_h": None, "help_p90_h": None, "loads": LIGHT, "ambient": COLD}
    assert ask("thermal.time_to_damage", facts(**unsaid)).required == 8.5
    assert ask("thermal.time_to_damage", facts(**unsaid, policy={"help_p90_h": 20.0})).required == 20.0


def test_a_load_that_outlasts_the_trip_without_heat_is_a_pass() -> None:
    finding = ask("thermal.time_to_damage", facts())
    assert (finding.outcome, finding.measured) == (Outcome.PASS, None)


def test_under_way_the_time_from_now_is_told() -> None:
    now = DEPART + 5 * H
    numbers = ask("thermal.time_to_damage", under_way(loads=LIGHT, ambient=COLD), now).contributes["forecast"]
    assert numbers["damage_after_now_h"] > 0
    assert "damage_after_now_h" not in ask("thermal.time_to_damage", facts()).contributes["forecast"]


# --- chance -----------------------------------------------------------------------------------------------------------


def test_the_score_is_judged_at_the_floor_and_at_the_ready_line() -> None:
    light = facts(loads=LIGHT, ambient=COLD)
    score = forecast_of(light).score.score
    assert 50 < score < 99
    for floor, ready, outcome in (
        (math.nextafter(score, 100), 100.0, "block"),
        (score, math.nextafter(score, 100), "concern"),
        (0.0, score, "pass"),
    ):
        judged = facts(loads=LIGHT, ambient=COLD, policy={"score_floor": floor, "score_ready": ready})
        assert ask("thermal.chance", judged).outcome == outcome


def test_the_single_change_it_proposes_leads_where_it_says() -> None:
    light = facts(loads=LIGHT, ambient=COLD, values={"cargo_c": None})
    finding = ask("thermal.chance", light)
    assert finding.outcome is Outcome.CONCERN
    assert finding.remedy is not None
    assert finding.remedy.action == "set_point"
    followed = facts(
        loads=[load(mass_kg=500.0, set_point_c=finding.remedy.amount)], ambient=COLD, values={"cargo_c": None}
    )
    assert ask("thermal.chance", followed).outcome is finding.remedy.then


def test_an_empty_box_has_no_load_to_lose() -> None:
    assert ask("thermal.chance", facts(loads=[load(mass_kg=0.0)])).outcome is Outcome.PASS


def test_equal_facts_score_equally_alone_and_among_others() -> None:
    many = [facts(loads=LIGHT, ambient=COLD, unit={"id": pk}) for pk in range(7, 7 + RANK_FROM)]
    among = gather(many, NOW)
    alone = forecast_of(many[0]).score.score
    assert [one.score.score for one in among.values() if isinstance(one, Forecast)] == [alone] * RANK_FROM


def test_the_score_never_overrides_a_rule() -> None:
    """A huge load survives an empty tank for a day; the fuel rule blocks all the same."""
    dry = with_fuel(15.0)
    assert ask("thermal.chance", dry).outcome is Outcome.PASS
    assert ask("thermal.fuel", dry).outcome is Outcome.BLOCK


@pytest.mark.parametrize("hours", [0, 3])
def test_an_older_forecast_is_less_certain(hours: int) -> None:
    issued = NOW - timedelta(hours=hours)
    assert forecast_of(facts(ambient_issued_at=issued)).inputs.risk.lead_h == 6.0 + hours
