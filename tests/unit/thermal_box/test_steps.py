"""The exact step against general solvers, and what it must conserve."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from thermal import Box, Heater, Load, Unit
from thermal.box import Network, air_c, network
from thermal.columns import columns_of
from thermal.steps import modes_of, propagator, steps_of


def a_network(k: float, area: float, mass: float, contact: float = 0.08, respiration: float = 0.0) -> Network:
    unit = Unit(box=Box(k_w_m2k=k, area_m2=area, contact_share=contact), heater=Heater(output_kw=8.0))
    load = Load(mass_kg=mass, temperature_c=5.0, respiration_w_kg=respiration)
    return network(columns_of([unit]), load)


def equations(net: Network, door: float) -> tuple[np.ndarray, np.ndarray]:
    """Return A (3, 3) and the columns of b per watt of heat, per degree of ambient, and of the load's own heat."""
    total = float(net.film[0] + net.edge[0] + door)
    film, edge, shell, wall = (float(v[0]) for v in (net.film, net.edge, net.shell, net.wall))
    bulk, cl, ce, cc = (float(v[0]) for v in (net.bulk, net.c_lining, net.c_edge, net.c_core))
    a = np.array(
        [
            [(film * film / total - film - shell) / cl, film * edge / total / cl, 0.0],
            [edge * film / total / ce, (edge * edge / total - edge - bulk - wall) / ce, bulk / ce],
            [0.0, bulk / cc, -bulk / cc],
        ]
    )
    heat = [film / total / cl, edge / total / ce, 0.0]
    ambient = [(film * door / total + shell) / cl, (edge * door / total + wall) / ce, 0.0]
    own = [0.0, float(net.heat_edge[0]) / ce, float(net.heat_core[0]) / cc]
    return a, np.array([heat, ambient, own]).T


BOXES = st.tuples(st.floats(0.3, 0.9), st.floats(20.0, 180.0), st.floats(3.4, 10.1).map(np.exp), st.floats(0.0, 0.2))
DOORS = st.sampled_from([0.0, 40.0, 600.0, 3000.0])
STEPS_S = st.sampled_from([180.0, 300.0, 1500.0, 3600.0, 36000.0])


@settings(max_examples=150, deadline=None)
@given(box=BOXES, door=DOORS, dt=STEPS_S)
def test_the_step_is_the_matrix_exponential(box, door, dt):
    net = a_network(*box, respiration=0.02)
    a, b = equations(net, door)
    whole = np.zeros((6, 6))
    whole[:3, :3], whole[:3, 3:] = a, b
    exact = expm(whole * dt)
    steps = steps_of(net, modes_of(net, np.array([[door]])), np.array([0]), np.array([dt]))
    assert np.abs(steps.m[..., 0, 0] - exact[:3, :3]).max() < 1e-12
    for ours, theirs in zip((steps.heat, steps.ambient, steps.own), exact[:3, 3:].T, strict=True):
        assert np.abs(ours[:, 0, 0] - theirs).max() < 1e-10 * np.abs(theirs).max()


def test_rates_are_the_eigenvalues():
    net = a_network(0.45, 147.0, 18000.0)
    for door in (0.0, 2000.0):
        a, _ = equations(net, door)
        rates = modes_of(net, np.array([[door]])).rates[:, 0, 0]
        assert np.sort(rates) == pytest.approx(np.sort(np.linalg.eigvals(a).real), rel=1e-10)


@settings(max_examples=100, deadline=None)
@given(
    box=BOXES,
    door=DOORS,
    heat=st.floats(0.0, 9000.0),
    ambient=st.floats(-40.0, 30.0),
    start=st.tuples(*[st.floats(-30.0, 30.0)] * 3),
)
def test_energy_is_conserved(box, door, heat, ambient, start):
    """Stored heat changes by heat given plus heat through shell, wall and door, integrated by fine exact steps."""
    net = a_network(*box)
    modes = modes_of(net, np.array([[door]]))
    stores = np.array([net.c_lining[0], net.c_edge[0], net.c_core[0]])
    long = steps_of(net, modes, np.array([0]), np.array([3600.0]))
    x0 = np.array(start)
    x1 = long.m[..., 0, 0] @ x0 + long.heat[:, 0, 0] * heat + long.ambient[:, 0, 0] * ambient
    nodes, weights = np.polynomial.legendre.leggauss(24)
    gained = 0.0
    for node, weight in zip(nodes, weights, strict=True):
        at = (node + 1) / 2 * 3600.0
        step = steps_of(net, modes, np.array([0]), np.array([at]))
        x = step.m[..., 0, 0] @ x0 + step.heat[:, 0, 0] * heat + step.ambient[:, 0, 0] * ambient
        air = float(air_c(net, x[:, None], heat, door=door, ambient=ambient)[0])
        out = net.shell[0] * (x[0] - ambient) + net.wall[0] * (x[1] - ambient) + door * (air - ambient)
        gained += weight / 2 * 3600.0 * (heat - out)
    scale = np.abs(stores * (x1 - x0)).sum() + 1e3
    assert stores @ (x1 - x0) == pytest.approx(gained, abs=1e-6 * scale)


@pytest.mark.parametrize("dt", [600.0, 3600.0, 14400.0])
def test_two_half_steps_are_one_step(dt):
    net = a_network(0.5, 120.0, 900.0)
    modes = modes_of(net, np.array([[0.0]]))
    zero = np.array([0])
    half = propagator(modes, zero, np.array([dt / 2]))[..., 0, 0]
    assert half @ half == pytest.approx(propagator(modes, zero, np.array([dt]))[..., 0, 0], abs=1e-13)


def test_a_single_row_is_the_row_of_the_whole():
    modes = modes_of(a_network(0.5, 120.0, 900.0), np.array([[0.0]]))
    door, dt = np.zeros(4, dtype=np.intp), np.array([60.0, 600.0, 3600.0, 86400.0])
    assert propagator(modes, door, dt, row=1) == pytest.approx(propagator(modes, door, dt)[1], abs=1e-15)


def test_a_box_left_alone_goes_to_ambient():
    net = a_network(0.45, 147.0, 400.0)
    steps = steps_of(net, modes_of(net, np.array([[0.0]])), np.array([0]), np.array([3.6e7]))
    end = steps.m[..., 0, 0] @ np.array([5.0, 5.0, 5.0]) + steps.ambient[:, 0, 0] * -20.0
    assert end == pytest.approx([-20.0] * 3, abs=1e-9)


def test_an_hour_matches_a_general_solver():
    net = a_network(0.6, 147.0, 700.0)
    a, b = equations(net, 500.0)
    x0, forcing = np.array([4.0, 5.0, 6.0]), b @ np.array([6000.0, -25.0, 0.0])
    theirs = solve_ivp(lambda _, x: a @ x + forcing, (0, 3600), x0, rtol=1e-10, atol=1e-10).y[:, -1]
    step = steps_of(net, modes_of(net, np.array([[500.0]])), np.array([0]), np.array([3600.0]))
    ours = step.m[..., 0, 0] @ x0 + step.heat[:, 0, 0] * 6000.0 + step.ambient[:, 0, 0] * -25.0
    assert ours == pytest.approx(theirs, abs=1e-7)


def test_an_empty_box_has_no_zero_to_divide_by():
    unit = Unit(box=Box(k_w_m2k=0.45, area_m2=147.0), heater=Heater(output_kw=8.0))
    net = network(columns_of([unit]), None)
    step = steps_of(net, modes_of(net, np.array([[0.0]])), np.array([0]), np.array([3600.0]))
    assert np.isfinite(step.m).all()
    assert net.wall[0] == 0.0
    assert float(1 / (1 / net.film[0] + 1 / net.shell[0])) == pytest.approx(0.45 * 147.0 * 1.1)
