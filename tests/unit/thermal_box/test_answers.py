"""Warm-up, preheat, fuel, capacity, mixed loads, ranking, defaults: the rest of the public answers."""

import doctest
from dataclasses import replace

import numpy as np
import pytest

import thermal
from tests.unit.thermal_box import oracle
from tests.unit.thermal_box.asks import ask, asked
from thermal import Load, Missing, Start, assess, estimate, govern, nominal, preheat, rank, request_of, warm_up
from thermal import defaults_used as defaults
from thermal.forecast import error_sd


def test_a_heater_too_weak_never_warms_the_box_and_says_where_it_settles():
    found = warm_up(ask(heater__output_kw=1.0).unit, load=None, set_point_c=5.0, soak_c=-30.0)
    assert found.empty_h is None
    assert found.equilibrium_c == pytest.approx(-30.0 + 900.0 / (0.45 * 147 * 1.12 * 1.1))
    assert found.equilibrium_c < 5.0


def test_a_warm_box_needs_no_warm_up():
    found = warm_up(ask().unit, load=ask().load, set_point_c=5.0, soak_c=5.0)
    assert (found.empty_h, found.loaded_h, found.equilibrium_c) == (0.0, 0.0, None)


def test_an_empty_load_has_no_loaded_warm_up():
    found = warm_up(ask().unit, load=ask(load__mass_kg=0.0).load, set_point_c=5.0, soak_c=-10.0)
    assert found.loaded_h is None
    assert found.empty_h is not None


@pytest.mark.parametrize("soak_c", [-30.0, -15.0, 0.0, 4.0])
@pytest.mark.parametrize("kw", [4.0, 8.0])
def test_warm_up_agrees_with_resolved_coolant_and_air(soak_c, kw):
    raw = asked(heater__output_kw=kw, trip__ambient_c=[soak_c] * 25, trip__stops=[])
    request = request_of(raw)
    ours = warm_up(request.unit, load=request.load, set_point_c=5.0, soak_c=soak_c)
    for mine, loaded in ((ours.empty_h, False), (ours.loaded_h, True)):
        theirs = oracle.warm_up_h(raw, loaded=loaded)
        assert mine == pytest.approx(theirs, rel=0.12, abs=0.15)


def test_a_preheated_box_starts_the_trip_warm():
    unit = ask().unit
    found = preheat(unit, hours=3.0, set_point_c=5.0, soak_c=-20.0, ambient_c=(-20.0,) * 4)
    assert found.reached_h == pytest.approx(1.28, abs=0.1)
    assert found.lining_c > 2.0
    assert 1.0 < found.fuel_l < 3.4
    trip = replace(ask().trip, start=Start(lining_c=found.lining_c, heater_hot=True))
    soaked = replace(ask().trip, box_start_c=-20.0)
    load = ask(load__mass_kg=800.0).load
    warm_start, cold_start = nominal(unit, load=load, trip=trip), nominal(unit, load=load, trip=soaked)
    assert warm_start.coldest_edge_c > cold_start.coldest_edge_c


def test_a_short_preheat_does_not_reach_the_set_point():
    found = preheat(ask().unit, hours=0.5, set_point_c=5.0, soak_c=-20.0, ambient_c=(-20.0, -20.0))
    assert found.reached_h is None
    assert found.lining_c < -3.0


def test_a_trip_under_way_starts_from_what_was_measured():
    trip = replace(ask().trip, start=Start(air_c=5.0, edge_c=2.0, core_c=5.5, heater_hot=True))
    plan = nominal(ask().unit, load=ask().load, trip=trip)
    assert plan.hours.edge_c[0] == 2.0
    assert plan.hours.core_c[0] == 5.5
    assert plan.hours.air_c[0] < 5.0
    planned = nominal(ask().unit, load=ask().load, trip=ask().trip)
    assert plan.damage_after_h[0] < planned.damage_after_h[0]


def test_the_tank_that_runs_dry_stops_the_heat_until_the_next_fill():
    fill = [{"at_h": 40.0, "duration_h": 0.5, "open_share": 0.0, "refuel": True}]
    request = ask(fuel_l=5.0, trip__stops=fill, load__mass_kg=2000.0)
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    assert plan.fuel_out_h is not None
    assert 14 < plan.fuel_out_h < 20
    assert plan.hours.heat_kw[22:39].max() == 0.0
    assert plan.hours.heat_kw[42] > 1.0
    assert plan.coldest_edge_c < -5
    assert plan.legs[0].need_l > 5.0
    assert plan.legs[0].chance_above_reserve < 0.1
    assert plan.legs[1].have_l == 190.0
    assert plan.endurance_h == pytest.approx(plan.fuel_out_h)


def test_the_same_fuel_out_in_the_resolved_simulation():
    raw = asked(fuel_l=5.0, trip__stops=[], load__mass_kg=2000.0)
    theirs = oracle.simulate(raw, oracle.nominal_world(raw))
    request = request_of(raw)
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    assert plan.fuel_out_h == pytest.approx(float(theirs["fuel_out"][0]), abs=0.7)
    assert plan.fuel_l == pytest.approx(5.0, abs=1e-6)
    assert plan.coldest_edge_c == pytest.approx(float(theirs["coldest"][0]), abs=1.0)


def test_an_empty_tank_gives_no_heat_at_all():
    request = ask(fuel_l=0.0, trip__stops=[])
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    assert plan.fuel_out_h == pytest.approx(0.0, abs=0.6)
    assert plan.engine_h == pytest.approx(0.0, abs=1e-9)


def test_a_low_fire_keeps_the_engine_running():
    request = ask(heater__output_low_kw=1.0, heater__burn_low_l_h=0.2, trip__stops=[])
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    assert plan.engine_h == pytest.approx(72.0)
    assert plan.fuel_l > 72 * 0.2


def test_a_low_fire_can_overheat_a_mild_load():
    mild = {"trip__ambient_c": [3.0] * 73, "trip__stops": [], "load__high_c": 12.0}
    low = ask(heater__output_low_kw=1.5, heater__burn_low_l_h=0.2, **mild)
    plan = nominal(low.unit, load=low.load, trip=low.trip)
    assert plan.warmest_c > 12.0
    assert assess(low.unit, load=low.load, trip=low.trip, risk=low.risk).causes.hot > 50


def test_a_stop_with_the_heater_off_burns_nothing_in_it():
    stop = {"at_h": 30.0, "duration_h": 3.0, "open_share": 0.0}
    running, still = ask(trip__stops=[stop]), ask(trip__stops=[{**stop, "heater_off": True}])
    on = nominal(running.unit, load=running.load, trip=running.trip)
    off = nominal(still.unit, load=still.load, trip=still.trip)
    assert off.hours.fuel_l[33] == pytest.approx(off.hours.fuel_l[30])
    assert on.hours.fuel_l[33] > on.hours.fuel_l[30] + 0.5
    assert off.coldest_edge_c < on.coldest_edge_c


def test_a_curtain_keeps_warmth_in():
    stop = [{"at_h": 20.0, "duration_h": 1.0, "open_share": 1.0}]
    bare, strips = ask("tiny_load", trip__stops=stop), ask("tiny_load", trip__stops=stop, box__curtain=0.8)
    without = nominal(bare.unit, load=bare.load, trip=bare.trip).coldest_edge_c
    assert nominal(strips.unit, load=strips.load, trip=strips.trip).coldest_edge_c > without + 0.5


def test_the_start_run_lengthens_the_shortest_run():
    short = {"heater__min_on_min": 1.0, "trip__stops": []}
    calm = nominal(ask(**short, heater__start_run_min=10.0).unit, load=ask().load, trip=ask().trip)
    brisk = nominal(ask(**short, heater__start_run_min=0.0).unit, load=ask().load, trip=ask().trip)
    assert calm.fuel_l > brisk.fuel_l


def test_the_12_hour_mean_is_milder_than_the_worst_hour():
    capacity = nominal(ask().unit, load=ask().load, trip=ask().trip).capacity
    assert capacity.ratio_12h > capacity.ratio > capacity.pessimistic
    assert capacity.worst_h == 18.0
    assert capacity.ratio == pytest.approx(capacity.available_kw / capacity.needed_kw)


def test_a_mixed_load_is_governed_by_its_tightest_limits():
    apples = Load(mass_kg=8000.0, temperature_c=4.0, freezes_c=-1.1, high_c=10.0)
    bananas = Load(mass_kg=2000.0, temperature_c=14.0, freezes_c=-0.8, damage_c=13.0, high_c=18.0)
    lettuce = Load(mass_kg=1000.0, temperature_c=2.0, freezes_c=-0.2, high_c=8.0)
    fit = govern([apples, lettuce])
    assert (fit.damage_c, fit.damage_by, fit.high_c, fit.high_by, fit.empty) == (-0.2, 1, 8.0, 1, False)
    assert fit.load.mass_kg == 9000.0
    assert (fit.edge_c, fit.core_c) == (2.0, 4.0)
    clash = govern([apples, bananas])
    assert clash.empty
    assert clash.load is None
    with pytest.raises(Missing):
        govern([])


def test_ranking_agrees_with_single_answers_and_keeps_the_order_of_its_input():
    request = ask()
    units = [ask(heater__output_kw=kw, fuel_l=fuel).unit for kw in (2.6, 3.0, 3.5, 6.0) for fuel in (15.0, 24.0, 120.0)]
    ranked = rank(units, load=request.load, trip=request.trip, risk=request.risk, top=3)
    single = [assess(unit, load=request.load, trip=request.trip, risk=request.risk) for unit in units]
    for one, other in zip(ranked, single, strict=True):
        assert one.score == pytest.approx(other.score, abs=max(3 * one.se + 3 * other.se, 1.0))
    best = sorted(range(len(units)), key=lambda i: -ranked[i].score)[:3]
    for i in best:
        assert ranked[i].score == pytest.approx(single[i].score, abs=0.02)


def test_ranking_an_empty_box_and_no_units():
    request = ask(load__mass_kg=0.0)
    both = rank([request.unit] * 2, load=request.load, trip=request.trip, risk=request.risk)
    assert [s.score for s in both] == [100.0, 100.0]
    assert rank([], load=ask().load, trip=request.trip, risk=request.risk) == []


def test_the_smallest_request_lists_what_it_assumed():
    smallest = {
        "box": {"k_w_m2k": 0.4, "area_m2": 140.0},
        "heater": {"output_kw": 8.0},
        "load": {"mass_kg": 5000.0, "temperature_c": 5.0},
        "trip": {"set_point_c": 5.0, "ambient_c": [-15.0] * 25},
    }
    answer = estimate(request_of(smallest))
    named = {line.partition(":")[0] for line in answer.defaults_used}
    assert {"box.volume_m3", "heater.derate", "load.freezes_c", "risk.engine_h", "fuel_l"} <= named
    assert "box.k_w_m2k" not in named
    assert any("warm limit" in line for line in answer.cautions)
    assert estimate(request_of(asked())).defaults_used == []


def test_null_is_the_default_but_not_for_the_tail():
    request = ask(heater__derate=None, risk__forecast_tail_df=None)
    assert request.unit.heater.derate == 0.9
    assert "heater.derate" not in request.given
    assert request.risk.forecast_tail_df is None
    assert not [line for line in defaults(request.given) if line.startswith("risk.forecast_tail_df")]


def test_an_empty_box_still_answers_warm_up_and_fuel():
    answer = estimate(ask(load__mass_kg=0.0))
    assert answer.coldest_edge_c is None
    assert answer.warm_up_loaded_h is None
    assert answer.warm_up_empty_h is not None
    assert answer.fuel_l > 10
    assert set(answer.damage_after_h) == {None}


def test_the_forecast_error_grows_with_lead():
    sd = error_sd(ask().risk, hours=72)
    assert sd[0] == pytest.approx(1.2)
    assert sd[72] == pytest.approx(np.hypot(1.2, 1.5))


def test_the_examples_in_the_docstrings_hold():
    for module in (thermal, thermal.params, thermal.learning):
        assert doctest.testmod(module).failed == 0
