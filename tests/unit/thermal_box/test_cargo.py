"""Time to damage and the freezing plateau against direct marches."""

import numpy as np
import pytest

from tests.unit.thermal_box.asks import ask
from thermal import nominal
from thermal.cargo import branch_times, hold_h, plateau_h
from thermal.columns import columns_of
from thermal.grid import grid_of
from thermal.paths import held_c, model_of, propagate, start_state

LIMIT_C = -1.0


def both_ways(request, every: int = 1):
    grid = grid_of(request.trip)
    columns = columns_of([request.unit])
    model = model_of(grid, columns, request.load)
    ambient = grid.step_means(np.array(request.trip.ambient_c))[:, None]
    held, _ = held_c(columns, request.load, request.trip, grid, ambient)
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


def test_the_plateau_is_when_the_latent_heat_is_gone():
    """Against a fine forward march of the edge held at its freezing point."""
    request = ask("refuel_in_time", trip__ambient_c=[-20.0] * 49, trip__stops=[])
    columns = columns_of([request.unit])
    net = model_of(grid_of(request.trip), columns, request.load).net
    latent = 280e3 * 0.15 * 4000.0
    ours = plateau_h(
        net,
        from_h=np.array([6.0]),
        core_c=np.array([3.0]),
        freezes_c=-1.0,
        latent_j=latent,
        ambient_c=np.full(49, -20.0),
    )
    core, drawn, t, dt = 3.0, 0.0, 0.0, 30.0
    out = 19.0 * float(1 / (1 / net.edge[0] + 1 / (net.ua[0] - net.wall[0])) + net.wall[0])
    while drawn < latent:
        flow = float(net.bulk[0]) * (core + 1.0)
        drawn += max(out - flow, 0.0) * dt
        core -= flow / float(net.c_core[0]) * dt
        t += dt
    assert float(ours[0]) == pytest.approx(t / 3600, rel=0.01)


def test_no_plateau_where_the_edge_does_not_freeze():
    request = ask("ambient_above_set")
    plan = nominal(request.unit, load=request.load, trip=request.trip)
    assert np.isinf(plan.plateau_h).all()
