"""Requests in, outcomes out: refusals, limits, and what must make a trip better or worse."""

from __future__ import annotations

import copy

import numpy as np
import pytest

from fleet.simulator.cases import (
    damage_after_h,
    parse_case,
    run_case,
    run_sure,
    simulate_batch,
    simulate_nominal,
    simulate_worlds,
    wilson_interval,
)
from fleet.simulator.drawing import draw_cases
from fleet.simulator.errors import SimulatorError
from fleet.simulator.worlds import sure_worlds
from tests.unit.simulator.cast import request


@pytest.mark.parametrize(
    ("part", "change", "where"),
    [
        ("box", {"k_w_m2k": None}, "box.k_w_m2k"),
        ("box", {"k_w_m2k": True}, "box.k_w_m2k"),
        ("box", {"k_w_m2k": float("nan")}, "box.k_w_m2k"),
        ("box", {"k_w_m2k": 0.0}, "box.k_w_m2k"),
        ("box", {"colour": 3}, "box.colour"),
        ("load", {"mass_kg": -1.0}, "load.mass_kg"),
        ("trip", {"ambient_c": [-5.0]}, "trip.ambient_c"),
        ("trip", {"ambient_c": [-5.0, -200.0]}, r"trip.ambient_c\[1\]"),
        ("trip", {"stops": [{"at_h": 99.0, "duration_h": 1.0}]}, r"trip.stops\[0\].at_h"),
        ("trip", {"stops": [{"at_h": 1.0, "duration_h": 1.0, "refuel": 1}]}, r"trip.stops\[0\].refuel"),
        ("risk", {"forecast_tail_df": 2.0}, "risk.forecast_tail_df"),
    ],
)
def test_a_bad_field_is_refused_by_name(part: str, change: dict[str, object], where: str) -> None:
    with pytest.raises(SimulatorError, match=where):
        parse_case(request(**{part: change}))


def test_what_is_required_has_no_default() -> None:
    for part, name in (("box", "area_m2"), ("heater", "output_kw"), ("load", "temperature_c")):
        body = request()
        del body[part][name]
        with pytest.raises(SimulatorError, match=f"{part}.{name}: required"):
            parse_case(body)


def test_the_request_is_not_changed_by_running_it() -> None:
    body = request(12)
    before = copy.deepcopy(body)
    run_case(body, n_worlds=5, seed=1)
    assert body == before


def test_equal_seeds_give_equal_worlds_and_other_seeds_others() -> None:
    case = parse_case(request(24))
    first, again, other = (simulate_worlds(case, n=50, seed=seed) for seed in (4, 4, 5))
    assert np.array_equal(first.min_edge_c, again.min_edge_c)
    assert np.array_equal(first.fuel_used_l, again.fuel_used_l)
    assert not np.array_equal(first.min_edge_c, other.min_edge_c)


def test_a_mixed_batch_gives_each_trip_what_it_gets_alone() -> None:
    cases = [parse_case(body) for body in draw_cases(3, 8)]
    together = run_sure(sure_worlds(cases, n=1), step_s=60.0)
    for i, case in enumerate(cases):
        alone = simulate_nominal(case, step_s=60.0)
        assert together.min_edge_c[i] == pytest.approx(alone.min_edge_c[0], abs=1e-9)
        assert together.max_c[i] == pytest.approx(alone.max_c[0], abs=1e-9)
        assert together.fuel_used_l[i] == pytest.approx(alone.fuel_used_l[0], abs=1e-9)


def test_drawn_cases_are_valid_deterministic_and_neither_all_safe_nor_all_lost() -> None:
    bodies = draw_cases(7, 300)
    assert bodies == draw_cases(7, 300)
    truth = simulate_batch([parse_case(body) for body in bodies], seed=1, step_s=120.0)
    assert 0.05 < truth.damaged.mean() < 0.4


def test_without_fuel_and_help_no_world_survives_a_long_frost() -> None:
    risk = {"sd_gauge_share": 0.0, "help_median_h": 400.0, "help_gsd": 1.1}
    body = request(48, -30.0, load={"mass_kg": 1000.0}, fuel_l=0.0, risk=risk)
    outcome = run_case(body, n_worlds=50, seed=1)
    assert outcome.chance == 0.0
    assert outcome.fuel_out_h == 0.0
    assert outcome.cold == 50


def test_an_empty_box_has_nothing_to_lose() -> None:
    outcome = run_case(request(24, load={"mass_kg": 0.0}), n_worlds=20, seed=1)
    assert outcome.chance == 1.0
    assert outcome.coldest_edge_c is None
    assert outcome.warm_up_loaded_h is None
    assert outcome.damage_after_h == ()
    assert outcome.fuel_l > 1.0


def test_a_heater_that_is_too_weak_never_warms_the_box_and_says_where_it_ends() -> None:
    outcome = run_case(request(12, -40.0, heater={"output_kw": 2.0}), n_worlds=5, seed=1)
    assert outcome.warm_up_empty_h is None
    assert outcome.equilibrium_c == pytest.approx(-40.0 + 1800.0 / (0.45 * 147.0 * 1.1))


def test_a_warm_day_needs_no_heat_and_can_spoil_the_load() -> None:
    outcome = run_case(request(48, 25.0, load={"mass_kg": 1500.0}), n_worlds=20, seed=1)
    assert outcome.warm_up_empty_h == 0.0
    assert outcome.engine_h == 0.0
    assert outcome.hot > 15


def test_damage_comes_sooner_when_it_is_colder_or_the_load_smaller() -> None:
    def at_start(**changes: object) -> float:
        value = damage_after_h(parse_case(request(40, **changes)))[0]  # type: ignore[arg-type]
        assert value is not None
        return value

    usual = at_start()
    assert at_start(ambient=-35.0) < usual
    assert at_start(load={"mass_kg": 2000.0}) < usual
    assert at_start(box={"k_w_m2k": 0.7}) < usual
    assert at_start(load={"damage_c": 2.0}) < usual


def test_open_doors_cost_warmth_and_fuel_and_a_curtain_keeps_some() -> None:
    stop = {"at_h": 6.0, "duration_h": 0.5, "open_share": 1.0, "heater_off": True}
    shut = simulate_nominal(parse_case(request(12)))
    bare = simulate_nominal(parse_case(request(12, trip={"stops": [stop]})))
    curtain = simulate_nominal(parse_case(request(12, trip={"stops": [stop]}, box={"curtain": 0.8})))
    assert bare.min_edge_c[0] < curtain.min_edge_c[0] < shut.min_edge_c[0]
    assert bare.fuel_used_l[0] > curtain.fuel_used_l[0] > 0


def test_a_box_that_starts_cold_is_colder() -> None:
    warm = simulate_nominal(parse_case(request(6, load={"mass_kg": 500.0})))
    cold = simulate_nominal(parse_case(request(6, load={"mass_kg": 500.0}, trip={"box_start_c": -20.0})))
    assert cold.min_edge_c[0] < warm.min_edge_c[0] - 0.5


def test_wilson_interval() -> None:
    """Wilson 1927; the values of 9 of 10 are 0.596 and 0.982 (computed here from the formula, 3 digits)."""
    low, high = wilson_interval(9, 10)
    assert (round(low, 3), round(high, 3)) == (0.596, 0.982)
    assert wilson_interval(10, 10)[1] == pytest.approx(1.0)
    with pytest.raises(SimulatorError):
        wilson_interval(11, 10)


def test_no_world_is_refused() -> None:
    with pytest.raises(SimulatorError):
        run_case(request(6), n_worlds=0, seed=1)
    with pytest.raises(SimulatorError):
        draw_cases(1, 0)
