"""Heat is neither made nor lost: over any trip, and against the steady balance of a box that is held for long."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.simulator.cases import parse_case, run_sure, simulate_batch, simulate_nominal
from fleet.simulator.drawing import draw_cases
from fleet.simulator.network import AIR, loss_conductance
from fleet.simulator.worlds import sure_worlds
from tests.unit.simulator.cast import request


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_heat_given_is_heat_stored_plus_heat_lost_on_any_trip(seed: int) -> None:
    cases = [parse_case(body) for body in draw_cases(seed, 6)]
    truth = simulate_batch(cases, seed=seed, step_s=120.0)
    longest_s = max(case.trip.hours for case in cases) * 3600.0
    made = np.array([float(c.load.mass_kg[0] * c.load.respiration_w_kg[0]) for c in cases]) * longest_s
    scale = truth.delivered_j + np.abs(truth.lost_j) + 1e6
    assert np.abs(truth.delivered_j + made - truth.lost_j - truth.gained_j).max() < 1e-9 * scale.max()


def test_the_balance_holds_while_the_load_freezes_through() -> None:
    case = parse_case(request(60, -30.0, load={"mass_kg": 400.0, "temperature_c": 2.0}, fuel_l=0.0))
    truth = simulate_nominal(case, step_s=60.0, keep_series=True)
    assert truth.temps_c is not None
    assert truth.min_edge_c[0] < -5.0  # frozen through and colder still
    assert truth.delivered_j[0] < 1e6  # only what the warm coolant still held
    gap = truth.delivered_j[0] - truth.lost_j[0] - truth.gained_j[0]
    assert abs(gap) < 1e-9 * abs(truth.lost_j[0])


def test_in_the_long_run_heat_equals_conductance_times_difference() -> None:
    """K S dT is the definition of K (ATP annex 1); the load's wall contact adds the edge's film in series."""
    days, step_s = 10, 60.0
    kinds = [(mass, ambient) for mass in (400.0, 6000.0, 20_000.0) for ambient in (-30.0, -5.0)]
    cases = [
        parse_case(
            request(
                24 * days,
                ambient,
                load={"mass_kg": mass, "temperature_c": 5.0, "bulk_w_mk": 5.0},
                heater={"tank_l": 2000.0},
                fuel_l=2000.0,
            )
        )
        for mass, ambient in kinds
    ]
    truth = run_sure(sure_worlds(cases, n=1), step_s=step_s, keep_series=True)
    assert truth.temps_c is not None
    assert truth.heat_w is not None
    late = slice(-24 * 5 * 60, None)
    whole = float(loss_conductance(cases[0].box)[0])
    for world, (mass, ambient) in enumerate(kinds):
        size = (mass / 20_000.0) ** (2 / 3)
        touching, film = 0.08 * whole * size, 4.0 * 90.0 * size
        conductance = whole - touching + 1.0 / (1.0 / touching + 1.0 / film)
        air = truth.temps_c[late, AIR, world].mean()
        assert truth.heat_w[late, world].mean() == pytest.approx(conductance * (air - ambient), rel=0.01)


def test_fuel_goes_with_the_heat_that_was_made() -> None:
    case = parse_case(request(72, -25.0))
    truth = simulate_nominal(case)
    output_w = 8000.0 * 0.9
    assert truth.engine_h[0] * 3600.0 * output_w == pytest.approx(truth.delivered_j[0], rel=0.02)
    assert truth.fuel_used_l[0] == pytest.approx(truth.engine_h[0] * 1.1, rel=1e-9)


def test_halving_the_step_halves_the_error() -> None:
    cases = [case for case in map(parse_case, draw_cases(11, 120)) if case.trip.hours <= 24]
    assert len(cases) > 15
    worlds = sure_worlds(cases, n=1)
    fine = run_sure(worlds, step_s=7.5)
    errors = []
    for step_s in (60.0, 15.0):
        coarse = run_sure(worlds, step_s=step_s)
        errors.append(float(np.sqrt(np.mean((coarse.min_edge_c - fine.min_edge_c) ** 2))))
        burns = fine.fuel_used_l > 5.0
        assert np.abs(coarse.fuel_used_l[burns] / fine.fuel_used_l[burns] - 1.0).mean() < 0.01
    assert errors[0] < 0.08
    assert errors[1] < 0.6 * errors[0]
