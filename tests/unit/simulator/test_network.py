"""The chain of heat stores: its reduction to two layers, its limits, and the step against a general solver."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fleet.simulator.errors import SimulatorError
from fleet.simulator.integrator import Integrator
from fleet.simulator.network import AIR, EDGE, LINING, build_chain, load_links
from tests.unit.simulator.cast import box, load


def test_one_inner_layer_is_the_plain_edge_and_core() -> None:
    part = load(mass_kg=5000.0)
    links = load_links(part, part.mass_kg / part.full_mass_kg, 1)[:, 0]
    area = 90.0 * 0.25 ** (2 / 3)
    depth = 0.25 * 0.25 ** (1 / 3)
    assert links == pytest.approx([4.0 * area, 0.4 * area / depth])


@pytest.mark.parametrize("inner", [1, 2, 3, 8])
def test_layers_share_the_mass_and_the_edge_keeps_its_part(inner: int) -> None:
    chain = build_chain(box(), load(mass_kg=5000.0), inner=inner)
    heat = chain.capacity[EDGE:, 0]
    assert heat.sum() == pytest.approx(5000.0 * 3600.0)
    assert heat[0] == pytest.approx(0.15 * 5000.0 * 3600.0)
    assert np.ptp(heat[1:]) == pytest.approx(0.0, abs=1e-6)


def test_an_empty_box_has_no_load_in_its_air() -> None:
    chain = build_chain(box(), load(mass_kg=0.0))
    assert np.all(chain.link[AIR:, 0] == 0.0)
    assert np.all(chain.leak[EDGE:, 0] == 0.0)


def test_the_wall_loses_k_times_area_in_all() -> None:
    chain = build_chain(box(), load())
    behind_film = 1.0 / (1.0 / chain.link[LINING, 0] + 1.0 / chain.leak[LINING, 0])
    assert behind_film + chain.leak[EDGE, 0] == pytest.approx(0.45 * 147.0 * 1.1)


def test_a_wall_thinner_than_its_film_is_refused() -> None:
    with pytest.raises(SimulatorError, match="resistance"):
        build_chain(box(k_w_m2k=5.0, lining_film_w_m2k=1.0), load())


def test_no_inner_layer_is_refused() -> None:
    with pytest.raises(SimulatorError, match="inner layers"):
        build_chain(box(), load(), inner=0)


@pytest.mark.parametrize("door", [0.0, 2000.0])
@pytest.mark.parametrize("inner", [1, 3])
def test_an_hour_agrees_with_a_general_ode_solver(door: float, inner: int) -> None:
    chain = build_chain(box(), load(respiration_w_kg=0.02), inner=inner)
    stores = len(chain.capacity)
    start = np.linspace(2.0, 7.0, stores)

    def slope(_: float, temps: np.ndarray) -> np.ndarray:
        flow = chain.link[:, 0] * np.diff(temps)
        leak = chain.leak[:, 0].copy()
        leak[AIR] += door
        gain = chain.source[:, 0] - leak * (temps + 20.0)
        gain[AIR] += 3000.0
        gain[:-1] += flow
        gain[1:] -= flow
        return gain / chain.capacity[:, 0]

    exact = solve_ivp(slope, (0.0, 3600.0), start, method="LSODA", rtol=1e-9, atol=1e-9).y[:, -1]
    integrator, temps = Integrator(chain, step_s=60.0), start[:, None]
    integrator.set_door(np.array([door]))
    for _ in range(60):
        temps, _lost = integrator.advance(temps, heat_w=np.array([3000.0]), ambient_c=np.array([-20.0]))
    assert temps[:, 0] == pytest.approx(exact, abs=0.005)


def test_a_door_is_forgotten_when_it_shuts() -> None:
    chain = build_chain(box(), load())
    integrator, fresh = Integrator(chain, step_s=60.0), Integrator(chain, step_s=60.0)
    integrator.set_door(np.array([1500.0]))
    integrator.set_door(np.array([0.0]))
    assert np.array_equal(integrator.pivot, fresh.pivot)
