"""Time to damage and the freezing plateau against direct marches."""

import numpy as np
import pytest

from tests.unit.thermal_box.asks import ask
from thermal import nominal
from thermal.cargo import branch_times, hold_h
from thermal.columns import columns_of
from thermal.grid import grid_of
from thermal.paths import holding_of, model_of, propagate, start_state

LIMIT_C = -1.0


def both_ways(request, every: int = 1):
    grid = grid_of(request.trip)
    columns = columns_of([request.unit])
    model = model_of(grid, columns, request.load)
    ambient = grid.step_means(np.array(request.trip.ambient_c))[:, None]
    held = holding_of(columns, request.load, request.trip, grid, ambient).air_c
    start = start_state(model.net, request.trip, request.load)
    paths = propagate(model, set_c=held, ambient=ambient, start=start)
    quick = hold_h(model, paths, limit_c=np.array([LIMIT_C]), longest_h=72.0, every=every)[:, 0]
    direct, _ = branch_times(model, paths, ambient=ambient, limits_c=(LIMIT_C,))
    return quick, direct[0][::every]


@pytest.mark.parametrize("mass", [400.0, 4000.0, 18000.0])
def test_superposition_equals_marching_every_branch(mass):
    quick, direct = both_ways(ask(trip__stops=[], load__mass_kg=mass))
    both = np.isfinite(quick) & np.isfinite(direct)
    assert both.sum() > 20
    # Looked at every fourth hour beyond sixteen, so long times are a little rough.
    assert (np.abs(quick[both] - direct[both]) < 0.3 + 0.05 * direct[both]).all()
    assert (np.isfinite(quick) != np.isfinite(direct)).sum() <= 4  # right at arrival


def test_doors_in_between_are_roughly_right():
    stop = {"at_h": 20.5, "duration_h": 0.5, "open_share": 1.0}
    quick, direct = both_ways(ask("tiny_load", trip__stops=[stop]))
    both = np.isfinite(quick) & np.isfinite(direct)
    assert np.abs(quick[both] - direct[both]).max() < 1.0


def test_a_coarse_look_keeps_the_shape():
    quick, direct = both_ways(ask("refuel_in_time", trip__stops=[]), every=2)
    both = np.isfinite(quick) & np.isfinite(direct)
    assert np.abs(quick[both] - direct[both]).max() < 0.5


def test_a_load_already_at_its_limit_has_no_time():
    request = ask(load__temperature_c=-3.0, trip__stops=[])
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    assert plan.damage_after_h[0] == 0.0


def test_a_colder_load_has_less_time():
    warm, cold = ask(load__temperature_c=8.0), ask(load__temperature_c=3.0)
    later = nominal(warm.unit, load=warm.load, trip=warm.trip).damage_after_h[0]
    sooner = nominal(cold.unit, load=cold.load, trip=cold.trip).damage_after_h[0]
    assert sooner < later


@pytest.mark.parametrize(("name", "hour"), [("tiny_load", 0), ("tiny_load", 18), ("refuel_in_time", 0)])
def test_the_plateau_is_when_the_latent_heat_is_gone(name, hour):
    """Against an explicit march of lining, edge and core with the edge's latent heat tracked as enthalpy."""
    request = ask(name, trip__stops=[])
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    model = model_of(grid_of(request.trip), columns_of([request.unit]), request.load)
    lining = plan.hours.air_c[hour] * 2 - plan.hours.edge_c[hour]  # a start near enough: the lining is soon forgotten
    x = [lining, plan.hours.edge_c[hour], plan.hours.core_c[hour]]
    reached, frozen = frozen_through_h(model.net, request, x, float(hour))
    assert plan.damage_after_h[hour] == pytest.approx(reached - hour, abs=0.6)
    assert plan.plateau_h[hour] == pytest.approx(frozen - reached, rel=0.05)


def frozen_through_h(net, request, x, hour: float) -> tuple[float, float]:
    """Return when the edge reaches its freezing point and when its latent heat is gone [h]."""
    film, edge, shell, wall, bulk = (float(v[0]) for v in (net.film, net.edge, net.shell, net.wall, net.bulk))
    hours, load = np.arange(request.trip.hours + 1), request.load
    latent, drawn, reached, dt = load.latent_kj_kg * 1e3 * load.edge_share * load.mass_kg, 0.0, None, 30.0
    while drawn < latent:
        ambient = float(np.interp(hour, hours, request.trip.ambient_c))
        air = (film * x[0] + edge * x[1]) / (film + edge)
        into = edge * (air - x[1]) - bulk * (x[1] - x[2]) - wall * (x[1] - ambient)
        frozen = x[1] <= load.freezes_c and (drawn > 0 or into < 0)
        x[0] += (film * (air - x[0]) - shell * (x[0] - ambient)) / float(net.c_lining[0]) * dt
        x[2] += bulk * (x[1] - x[2]) / float(net.c_core[0]) * dt
        if frozen:
            reached = hour if reached is None else reached
            drawn -= into * dt
        else:
            x[1] += into / float(net.c_edge[0]) * dt
        hour += dt / 3600
    assert reached is not None
    return reached, hour


def test_no_plateau_where_the_edge_does_not_freeze():
    request = ask("ambient_above_set")
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    assert np.isinf(plan.plateau_h).all()
