"""The box model in limits that textbooks work out: a lumped body, a wall in series, a box in steady state.

A lumped body is the edge of the load alone in air that an enormous door keeps at ambient. "Read" means the numbers
were read at the place named; "recomputed" that the answer follows from the printed inputs.
"""

import numpy as np
import pytest

from thermal import Box, Heater, Trip, Unit, nominal
from thermal.box import Network, air_c
from thermal.columns import columns_of
from thermal.defaults import default_of
from thermal.steps import modes_of, steps_of

PINNED_W_K = 1e7


def lumped(conductance: float, store: float) -> Network:
    """Return a network whose edge has `store` [J/K] and meets the air through `conductance` [W/K]; the rest is
    apart."""
    one = np.ones(1)
    return Network(
        ua=one,
        wall=0.0 * one,
        film=1e-9 * one,
        shell=1e-9 * one,
        edge=conductance * one,
        bulk=1e-9 * one,
        c_lining=one,
        c_edge=store * one,
        c_core=one,
        heat_edge=0.0 * one,
        heat_core=0.0 * one,
    )


def edge_after(net: Network, seconds: float, *, start_c: float, ambient_c: float) -> float:
    modes = modes_of(net, np.array([[PINNED_W_K]]))
    step = steps_of(net, modes, np.array([0]), np.array([seconds]))
    x = np.array([ambient_c, start_c, start_c])
    return float((step.m[..., 0, 0] @ x + step.ambient[:, 0, 0] * ambient_c)[1])


@pytest.mark.parametrize(
    ("coefficient", "seconds", "start_c", "air_c_", "end_c", "allowed"),
    [
        # Incropera, Fundamentals of Heat and Mass Transfer, Ex. 5.1 (read, recomputed): time constant 1 s,
        # 25 -> 199 degC in gas of 200 degC in 5.165 s (the book prints 5.2 s).
        (1.0, 5.165, 25.0, 200.0, 199.0, 0.01),
        # Cengel, Heat and Mass Transfer, Ex. 4.1 (read, recomputed): b = 0.46324 /s, 1 % of the difference is left
        # after 9.94 s (printed 10 s). b = h / (rho cp D/6) with h 210, rho 8500, cp 320, D 1 mm.
        (210.0 / (8500.0 * 320.0 * 0.001 / 6), 9.941, 100.0, 0.0, 1.0, 0.01),
        # Cengel, Ex. 4.2 (read, recomputed): h 8, Lc 0.06892 m, rho 996, cp 4178; 37 -> 25 degC in air of 20 degC
        # in 12.19 h. Bi = 0.89, so the lumped answer itself is rough; only the arithmetic is checked.
        (8.0 / (996.0 * 4178.0 * 0.06892), 12.19 * 3600, 37.0, 20.0, 25.0, 0.01),
        # mathhelpforum.com calculus exercise (read, recomputed): k = 0.02013 /min, 95 -> 61 degC in a room of 20 degC
        # in 30 min.
        (0.02013 / 60, 1800.0, 95.0, 20.0, 61.0, 0.05),
    ],
)
def test_a_lumped_body_cools_as_the_textbooks_say(coefficient, seconds, start_c, air_c_, end_c, allowed):
    net = lumped(coefficient * 100.0, 100.0)
    assert edge_after(net, seconds, start_c=start_c, ambient_c=air_c_) == pytest.approx(end_c, abs=allowed)


def test_cengel_small_sphere_has_the_printed_rate():
    """Cengel, Ex. 4.1: b = 0.46324 per second (read, recomputed)."""
    net = lumped(210.0, 8500.0 * 320.0 * 0.001 / 6)
    rates = modes_of(net, np.array([[PINNED_W_K]])).rates[:, 0, 0]
    assert -rates.min() == pytest.approx(0.46324, rel=1e-4)


def test_geankoplis_cold_store_wall():
    """Geankoplis, Transport Processes, Ex. 4.3-1: -16.48 W/m2, interface pine to cork 256.79 K (read, recomputed).

    Pine is the film between room and lining node, cork and concrete the shell behind it.
    """
    pine, cork, concrete = 0.0127 / 0.151, 0.1016 / 0.0433, 0.0762 / 0.768
    one = np.ones(1)
    net = Network(
        ua=one / (pine + cork + concrete),
        wall=0.0 * one,
        film=one / pine,
        shell=one / (cork + concrete),
        edge=1e-9 * one,
        bulk=1e-9 * one,
        c_lining=1e4 * one,
        c_edge=one,
        c_core=one,
        heat_edge=0.0 * one,
        heat_core=0.0 * one,
    )
    step = steps_of(net, modes_of(net, np.zeros((1, 1))), np.array([0]), np.array([1e6]))
    settled = step.heat[:, 0, 0] * -16.48 + step.ambient[:, 0, 0] * 297.1
    room = air_c(net, settled[:, None], -16.48, door=0.0, ambient=297.1)
    assert settled[0] == pytest.approx(256.79, abs=0.01)
    assert float(room[0]) == pytest.approx(255.4, abs=0.02)
    assert 1 / float(net.ua[0]) == pytest.approx(2.5297, abs=1e-4)


def test_the_k_value_is_heat_per_area_and_difference():
    """ATP annex 1: K = W/(S dT); 1000 W over 100 m2 at 32.5/7.5 degC is 0.400 (temperatures read at DNV).

    The definition is from memory. The box must settle at its set point with exactly that heat, parked.
    """
    unit = Unit(box=Box(k_w_m2k=0.4, area_m2=100.0, moving_factor=1.0), heater=Heater(output_kw=2.0))
    columns = columns_of([unit])
    assert float(columns.ua_full[0]) * (32.5 - 7.5) == pytest.approx(1000.0)
    trip = Trip(set_point_c=32.5, ambient_c=(7.5,) * 97)
    plan = nominal(unit, load=None, trip=trip)
    mean_air = plan.hours.air_c[-1]
    assert plan.hours.heat_kw[-1] == pytest.approx(0.4 * 100.0 * (mean_air - 7.5) / 1000.0, rel=2e-3)


def test_a_class_b_box_needs_1664_watts():
    """ATP heated class B, +12 inside and -20 outside (read, 61/1983 Sb.): 0.40 x 130 x 32 = 1664 W."""
    unit = Unit(box=Box(k_w_m2k=0.4, area_m2=130.0, moving_factor=1.0), heater=Heater(output_kw=5.0, derate=1.0))
    capacity = nominal(unit, load=None, trip=Trip(set_point_c=12.0, ambient_c=(-20.0,) * 25)).capacity
    assert capacity.needed_kw == pytest.approx(1.664)
    assert capacity.ratio == pytest.approx(5.0 / 1.664)


def test_the_moving_factor_covers_what_the_outside_film_adds():
    """Flat-plate film at 5 and 105 km/h over 75 mm of foam (computed): U 0.285 and 0.3065 W/m2K, a factor of
    1.075."""
    film_only = 0.3065 / 0.285
    assert film_only == pytest.approx(1.075, abs=0.001)
    assert film_only < float(str(default_of("box.moving_factor"))) < 1.2


def test_ageing_stays_below_the_limit_of_an_insulated_box():
    """A box of K 0.40 when new must still be below 0.70 after 12 years (IIR: 110 bodies, all below 0.7; read)."""
    box = Box(k_w_m2k=0.4, area_m2=100.0, moving_factor=1.0, age_y=12.0)
    aged = float(columns_of([Unit(box=box, heater=Heater(output_kw=5.0))]).ua_full[0]) / 100.0
    assert 0.4 < aged < 0.7


@pytest.mark.parametrize(
    ("width_m", "height_m", "cold_c", "warm_c", "kw"),
    [(2.4, 2.6, -20.0, 10.0, 92.95), (2.4, 2.6, -30.0, 5.0, 122.4), (1.0, 2.0, -20.0, 20.0, 39.18)],
)
def test_the_open_door_carries_what_gosney_and_olama_say(width_m, height_m, cold_c, warm_c, kw):
    """Sensible heat of a doorway, Gosney-Olama with its density factor (read; air from CoolProp, computed).

    The box model holds one conductance for a stop, without the density factor and with mean air: 12 % under
    the full formula at most, far inside what a doorway factor of 0.8 is known to.
    """
    box = Box(k_w_m2k=0.4, area_m2=100.0, door_width_m=width_m, door_height_m=height_m, door_flow=1.0)
    columns = columns_of([Unit(box=box, heater=Heater(output_kw=5.0))])
    span = warm_c - cold_c
    ours = float(columns.door_w_k_per_sqrt_k[0]) * span**1.5 / 1000.0
    assert ours == pytest.approx(kw, rel=0.12)
