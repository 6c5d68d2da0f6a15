"""Air exchanged through an open door by the difference in density between inside and outside."""

from __future__ import annotations

import numpy as np

from fleet.simulator.quantities import Box, Floats

GRAVITY = 9.81  # m/s2
AIR_CP = 1005.7  # J/(kg K), dry air near 0 degC (CoolProp 8.0.0)
IDEAL_GAS = 353.05  # kg K/m3: density of dry air at 101 325 Pa times absolute temperature
FLOW_FACTOR = 0.221  # Gosney & Olama 1975, as carried by the ASHRAE infiltration chapter


def air_density(temp_c: Floats) -> Floats:
    """Return the density of dry air at sea level [kg/m3]."""
    return IDEAL_GAS / (temp_c + 273.15)


def door_flow(*, width_m: Floats, height_m: Floats, cold_c: Floats, warm_c: Floats) -> Floats:
    """Return the fully established volume flow through an open doorway [m3/s].

    Parameters
    ----------
    width_m, height_m : ndarray, shape (n,)
        Clear opening [m].
    cold_c, warm_c : ndarray, shape (n,)
        Air on the colder and on the warmer side [degC].

    Notes
    -----
    V = 0.221 A sqrt(1 - rho_w/rho_c) sqrt(g H) Fm, Fm = (2 / (1 + (rho_c/rho_w)^(1/3)))^1.5. For a heated
    box the denser side is the outside.

    References
    ----------
    Gosney, W. B. and Olama, H. A.-L. (1975), as reprinted in ASHRAE's infiltration load text.

    Examples
    --------
    >>> one = np.ones(1)
    >>> flow = door_flow(width_m=2.4 * one, height_m=2.6 * one, cold_c=-20 * one, warm_c=10 * one)
    >>> round(float(flow[0]), 1)
    2.2
    """
    cold, warm = air_density(cold_c), air_density(warm_c)
    shape = (2.0 / (1.0 + np.cbrt(cold / warm))) ** 1.5
    drive = np.sqrt(np.maximum(1.0 - warm / cold, 0.0))
    return FLOW_FACTOR * width_m * height_m * drive * np.sqrt(GRAVITY * height_m) * shape


def door_conductance(box: Box, *, air_c: Floats, ambient_c: Floats, share: Floats) -> Floats:
    """Return the heat exchange of the doorway per kelvin between box air and ambient [W/K], shape (n,).

    `share` is the part of the time the door stands open. Recomputed from the real box air each step, so that
    the exchange dies down as the box cools.
    """
    cold, warm = np.minimum(air_c, ambient_c), np.maximum(air_c, ambient_c)
    flow = door_flow(width_m=box.door_width_m, height_m=box.door_height_m, cold_c=cold, warm_c=warm)
    return air_density(cold) * AIR_CP * flow * box.door_flow * (1.0 - box.curtain) * share
