"""The averaged path against a general solver of the same equations, and the thermostat against resolved cycles."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.unit.thermal_box import oracle
from tests.unit.thermal_box.asks import ask, asked
from tests.unit.thermal_box.test_steps import equations
from thermal import EstimateRequest, nominal
from thermal.columns import columns_of
from thermal.grid import grid_of
from thermal.paths import air_at, holding_of, model_of, propagate, start_state


def march(request: EstimateRequest, set_c: float, step_h: float = 1.0):
    grid = grid_of(request.trip, step_h=step_h)
    model = model_of(grid, columns_of([request.unit]), request.load)
    ambient = grid.step_means(np.array(request.trip.ambient_c))[:, None]
    held = np.full_like(ambient, set_c)
    start = start_state(model.net, request.trip, request.load)
    return grid, model, ambient, propagate(model, set_c=held, ambient=ambient, start=start)


@pytest.mark.parametrize(("set_c", "watts"), [(-200.0, 0.0), (200.0, 7200.0)])
def test_heater_off_or_full_matches_a_general_solver(set_c, watts):
    request = ask(trip__stops=[])
    grid, model, _, paths = march(request, set_c)
    a, b = equations(model.net, 0.0)
    hours = np.arange(request.trip.hours + 1)

    def slope(t: float, x: np.ndarray) -> np.ndarray:
        return a @ x + b @ np.array([watts, np.interp(t / 3600, hours, request.trip.ambient_c), 0.0])

    theirs = solve_ivp(
        slope, (0, hours[-1] * 3600), [5.0, 6.0, 6.0], t_eval=grid.time_h * 3600, rtol=1e-9, atol=1e-9, max_step=900
    )
    # All of the difference is the ambient taken as its mean over each step instead of its straight line.
    difference = np.abs(paths.x[:, :, 0] - theirs.y.T).max(axis=0)
    assert difference[0] < 0.05
    assert difference[1:].max() < 0.01


def test_holding_matches_a_general_solver_of_the_averaged_equations():
    """A stiff proportional control stands for the averaged heater; the edge agrees within 0.1 K."""
    request = ask("refuel_in_time", trip__stops=[])
    grid, model, _, paths = march(request, 6.0)
    net = model.net
    a, b = equations(net, 0.0)
    total, hours = float(net.air_sum[0]), np.arange(request.trip.hours + 1)

    def heat(x: np.ndarray) -> float:
        floating = float(net.film[0] * x[0] + net.edge[0] * x[1]) / total
        return float(np.clip((6.0 - floating) * total, 0.0, 7200.0))

    def slope(t: float, x: np.ndarray) -> np.ndarray:
        return a @ x + b @ np.array([heat(x), np.interp(t / 3600, hours, request.trip.ambient_c), 0.0])

    theirs = solve_ivp(
        slope, (0, hours[-1] * 3600), [5.0, 6.0, 6.0], t_eval=grid.time_h * 3600, rtol=1e-8, atol=1e-8, max_step=300
    )
    assert np.abs(paths.x[:, 1, 0] - theirs.y[1]).max() < 0.1


def test_the_air_ends_each_step_where_it_is_held():
    request = ask(trip__stops=[])
    _, model, ambient, paths = march(request, 5.5)
    held = (paths.heat > 0) & (paths.heat < 7200.0)
    air = air_at(model, paths, ambient)
    assert held.sum() > 60
    assert air[held] == pytest.approx(5.5, abs=1e-9)


def test_heat_stays_within_the_heater():
    for name in ("base_winter", "ambient_above_set"):
        _, _, _, paths = march(ask(name), 5.0)
        assert paths.heat.min() >= 0.0
        assert paths.heat.max() <= 7200.0


def test_halving_the_step_moves_the_edge_little():
    request = ask("tiny_load", trip__stops=[])
    grid, _, _, coarse = march(request, 6.0)
    fine_grid, _, _, fine = march(request, 6.0, step_h=0.5)
    hours = np.arange(2, request.trip.hours + 1)
    difference = coarse.x[grid.at_hour[hours], 1] - fine.x[fine_grid.at_hour[hours], 1]
    assert np.abs(difference).max() < 0.06


@pytest.mark.parametrize(
    ("ambient_c", "changes"),
    [
        (-25.0, {}),
        (-10.0, {}),
        (-25.0, {"heater__min_on_min": 4.0, "heater__hysteresis_k": 0.5}),
        (-20.0, {"heater__output_kw": 4.0}),
        (-15.0, {"load__mass_kg": 500.0}),
        (-20.0, {"heater__output_low_kw": 1.2, "heater__burn_low_l_h": 0.2}),
    ],
)
def test_the_thermostat_offset_is_that_of_resolved_cycles(ambient_c, changes):
    """A relay averages above its set point; the closed form is within 0.2 K of the simulated mean air."""
    raw = asked(trip__ambient_c=[ambient_c] * 49, trip__stops=[], **changes)
    resolved = oracle.simulate(raw, oracle.nominal_world(raw), trace=True)["rows"]
    theirs = resolved[resolved[:, 0] > 24, 1].mean()
    request = ask(trip__ambient_c=[ambient_c] * 49, trip__stops=[], **changes)
    grid = grid_of(request.trip)
    ambient = grid.step_means(np.array(request.trip.ambient_c))[:, None]
    held = holding_of(columns_of([request.unit]), request.load, request.trip, grid, ambient).air_c
    assert held[-1, 0] == pytest.approx(theirs, abs=0.2)


def test_a_weak_heater_runs_all_the_time_and_the_box_sinks():
    plan = nominal(ask(heater__output_kw=1.5).unit, load=ask().load, trip=ask().trip)
    assert plan.capacity.ratio is not None
    assert plan.capacity.ratio < 1
    assert plan.hours.air_c.min() < 0
    assert plan.hours.heat_kw.max() == pytest.approx(1.35, abs=1e-6)


def test_ambient_above_the_set_point_needs_no_heat():
    request = ask("ambient_above_set")
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    assert plan.fuel_l == 0.0
    assert plan.engine_h == 0.0
    assert plan.capacity.ratio is None


def test_one_column_by_numbers_is_one_column_by_arrays():
    stop = {"at_h": 20.5, "duration_h": 0.4, "open_share": 0.5, "heater_off": True}
    request = ask(trip__stops=[stop], trip__box_start_c=-8.0, heater__output_low_kw=0.5, heater__burn_low_l_h=0.1)
    grid = grid_of(request.trip, cold_start=True)
    model = model_of(grid, columns_of([request.unit]), request.load)
    ambient = grid.step_means(np.array(request.trip.ambient_c))[:, None]
    given = {"set_c": np.full_like(ambient, 6.0), "ambient": ambient}
    start = start_state(model.net, request.trip, request.load)
    arrays = propagate(model, start=start, **given)
    numbers = propagate(model, start=start, unheated=False, **given)
    assert numbers.x == pytest.approx(arrays.x, abs=1e-11)
    assert numbers.heat == pytest.approx(arrays.heat, abs=1e-7)
