"""The integrator against textbook cases of cooling: lumped bodies and a slab.

How the values are known: read in copies of the books' solutions and recomputed from their printed inputs.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from fleet.simulator.integrator import Integrator
from fleet.simulator.network import EDGE, Chain


def lumped(*, capacity_j_k: float, conductance_w_k: float, step_s: float) -> Integrator:
    """Return an integrator whose third store is one lumped body that loses heat to the ambient, others cut off."""
    capacity = np.array([[1.0], [1.0], [capacity_j_k]])
    leak = np.zeros((3, 1))
    leak[EDGE] = conductance_w_k
    chain = Chain(capacity=capacity, link=np.zeros((2, 1)), leak=leak, source=np.zeros((3, 1)))
    return Integrator(chain, step_s=step_s)


def seconds_until(integrator: Integrator, *, start_c: float, ambient_c: float, target_c: float) -> float:
    """Return when the lumped body passes a temperature, linear within a step."""
    temps, ambient, heat = np.full((3, 1), start_c), np.array([ambient_c]), np.zeros(1)
    rising = target_c > start_c
    for step in range(200_000):
        before = float(temps[EDGE, 0])
        temps, _lost = integrator.advance(temps, heat_w=heat, ambient_c=ambient)
        now = float(temps[EDGE, 0])
        if (now >= target_c) == rising and now != before:
            return (step + (target_c - before) / (now - before)) * integrator.step_s
    raise AssertionError("never reached")


def test_thermocouple_junction() -> None:
    """Incropera, Fundamentals of Heat and Mass Transfer, example 5.1: 5.2 s in the book, 5.165 s exactly."""
    diameter = 7.06e-4
    area, volume = math.pi * diameter**2, math.pi * diameter**3 / 6
    body = lumped(capacity_j_k=8500 * 400 * volume, conductance_w_k=400 * area, step_s=0.01)
    assert seconds_until(body, start_c=25, ambient_c=200, target_c=199) == pytest.approx(5.165, abs=0.01)


def test_thermocouple_to_one_per_cent() -> None:
    """Cengel, Heat and Mass Transfer, example 4.1: b = 0.46324 1/s, 9.94 s to 1 % of the first difference."""
    length = 0.001 / 6
    body = lumped(capacity_j_k=8500 * 320 * length, conductance_w_k=210, step_s=0.01)
    assert seconds_until(body, start_c=100, ambient_c=0, target_c=1) == pytest.approx(9.94, abs=0.01)


def test_body_cooling_by_the_hour() -> None:
    """Cengel, example 4.2: 37 to 25 degC in 20 degC air, h 8, cylinder 1.7 m by 0.3 m of water: 12.19 h."""
    radius, height = 0.15, 1.7
    volume = math.pi * radius**2 * height
    area = 2 * math.pi * radius * height + 2 * math.pi * radius**2
    body = lumped(capacity_j_k=996 * 4178 * volume, conductance_w_k=8 * area, step_s=60.0)
    hours = seconds_until(body, start_c=37, ambient_c=20, target_c=25) / 3600
    assert hours == pytest.approx(12.19, abs=0.01)


def test_steaks_reach_two_degrees_at_their_surface() -> None:
    """Cengel, problem 11-44: 2 cm steaks, h 9, k 0.45, alpha 0.91e-7, 25 to 2 degC in -11 degC air: 93.1 min."""
    cells, half = 25, 0.01
    width, conductivity = half / cells, 0.45
    capacity = np.full((cells + 2, 1), conductivity / 0.91e-7 * width)
    link = np.full((cells + 1, 1), conductivity / width)
    # The chain's first two stores are cut off; the slab's surface cell is the edge.
    link[:EDGE] = 0.0
    leak = np.zeros((cells + 2, 1))
    leak[EDGE] = 1 / (1 / 9 + width / 2 / conductivity)
    chain = Chain(capacity=capacity, link=link, leak=leak, source=np.zeros_like(leak))
    integrator, temps = Integrator(chain, step_s=10.0), np.full((cells + 2, 1), 25.0)
    surface, seconds = 25.0, 0.0
    while surface > 2.0:
        temps, _lost = integrator.advance(temps, heat_w=np.zeros(1), ambient_c=np.array([-11.0]))
        seconds += 10.0
        inside = float(temps[EDGE, 0])
        surface = inside - (inside + 11.0) * float(leak[EDGE, 0]) * width / 2 / conductivity
    assert seconds / 60 == pytest.approx(93.1, rel=0.005)
