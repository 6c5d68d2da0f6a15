"""The simulator's door flow against tabulated Gosney-Olama values.

Source: the formula as printed in the ASHRAE infiltration text (factor 0.221 in SI), densities of dry air and heat
computed with CoolProp 8.0.0, cp 1005.7 J/(kg K).
"""

from __future__ import annotations

import numpy as np
import pytest

from fleet.simulator.doors import AIR_CP, air_density, door_conductance, door_flow
from tests.unit.simulator.cast import box

TABLE = [
    (2.4, 2.6, -20.0, 10.0, 2.207, 92.95),
    (2.4, 2.6, -30.0, 5.0, 2.392, 122.4),
    (1.0, 2.0, -20.0, 20.0, 0.698, 39.18),
]


@pytest.mark.parametrize(("width", "height", "cold", "warm", "flow_m3_s", "heat_kw"), TABLE)
def test_flow_and_heat(width: float, height: float, cold: float, warm: float, flow_m3_s: float, heat_kw: float) -> None:
    cold_c, warm_c = np.array([cold]), np.array([warm])
    flow = door_flow(width_m=np.array([width]), height_m=np.array([height]), cold_c=cold_c, warm_c=warm_c)
    assert flow[0] == pytest.approx(flow_m3_s, rel=0.005)
    heat_w = flow * air_density(cold_c) * AIR_CP * (warm - cold)
    assert heat_w[0] / 1e3 == pytest.approx(heat_kw, rel=0.005)


def test_a_doorway_of_a_box_gives_that_heat_times_its_flow_factor() -> None:
    part = box(door_width_m=2.4, door_height_m=2.6, door_flow=0.8, curtain=0.5)
    given = door_conductance(part, air_c=np.array([10.0]), ambient_c=np.array([-20.0]), share=np.array([0.5]))
    assert given[0] * 30.0 / 1e3 == pytest.approx(92.95 * 0.8 * 0.5 * 0.5, rel=0.005)


def test_equal_temperatures_exchange_nothing() -> None:
    same = np.array([3.0])
    assert door_conductance(box(), air_c=same, ambient_c=same, share=np.ones(1))[0] == 0.0


def test_the_box_may_also_be_the_colder_side() -> None:
    warm, cold = np.array([20.0]), np.array([2.0])
    inwards = door_conductance(box(), air_c=cold, ambient_c=warm, share=np.ones(1))
    outwards = door_conductance(box(), air_c=warm, ambient_c=cold, share=np.ones(1))
    assert inwards[0] == outwards[0] > 0
