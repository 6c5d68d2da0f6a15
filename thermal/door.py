"""Air that changes places through an open door, and the heat it carries.

A warm box behind an open door empties over the top of the doorway while cold air slides in below. The flow
is the Gosney-Olama equation in SI; it holds until the box is full of outside air, so the energy of one
opening is capped.
"""

import numpy as np

from thermal.errors import OutOfRange
from thermal.ranges import Array, require

__all__ = ["air_density", "door_conductance", "door_flow", "door_heat", "opening_heat"]

GAS_CONSTANT_DRY_AIR = 287.055  # J/kgK
CP_AIR = 1005.7  # J/kgK, dry air at -20..20 °C and 1 atm, CoolProp 8.0.0
GRAVITY = 9.80665  # m/s2
SEA_LEVEL_PA = 101_325.0

# 13.26 in feet and minutes, 0.221 in SI (ASHRAE infiltration chapter; IRC 2017 notes, scribd 434795483,
# read).
GOSNEY_OLAMA = 0.221


def air_density(temp_c: float | Array, *, pressure_pa: float = SEA_LEVEL_PA) -> float | Array:
    """Density of dry air [kg/m3].

    Parameters
    ----------
    temp_c : float or ndarray, any shape
        Air temperature [°C], -80..80.
    pressure_pa : float
        Air pressure [Pa], 50 000-110 000.

    Returns
    -------
    float or ndarray, same shape
        Ideal-gas density [kg/m3]; within 0.1 % of CoolProp. Moisture would change it by less than 1 %.

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.
    """
    kelvin = require("temp_c", temp_c, -80.0, 80.0) + 273.15
    return require("pressure_pa", pressure_pa, 5e4, 1.1e5) / (GAS_CONSTANT_DRY_AIR * kelvin)


def door_flow(
    *,
    width_m: float,
    height_m: float,
    inside_c: float | Array,
    outside_c: float | Array,
    flow_factor: float = 1.0,
    effectiveness: float = 0.0,
) -> float | Array:
    """Outside air that enters through a door standing open [m3/s].

    Parameters
    ----------
    width_m, height_m : float
        Doorway [m], 0.3-6 each.
    inside_c, outside_c : float or ndarray, broadcast together
        Air temperatures [°C], -80..80.
    flow_factor : float
        Share of the fully developed flow that is reached [-], 0-1; 1 is the safe side.
    effectiveness : float
        Share that a strip or air curtain keeps back [-], 0-1; published: strips 0.93, air curtains 0.5-0.8.

    Returns
    -------
    float or ndarray
        Volume flow at the density of the denser, colder side [m3/s]; 0 at equal temperatures.

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.

    Notes
    -----
    ``V = 0.221 A (1 - rho_w/rho_c)^0.5 (g H)^0.5 Fm``, ``Fm = (2 / (1 + (rho_c/rho_w)^(1/3)))^1.5``. The
    cold side is the outside for a heated box. Wind and the movement of the vehicle are not in the equation.

    References
    ----------
    Gosney and Olama 1975, as given in the ASHRAE Refrigeration handbook, infiltration through doorways.

    Examples
    --------
    >>> round(door_flow(width_m=2.4, height_m=2.6, inside_c=10.0, outside_c=-20.0), 1)
    2.2
    """
    area = require("width_m", width_m, 0.3, 6.0) * require("height_m", height_m, 0.3, 6.0)
    passed = require("flow_factor", flow_factor, 0.0, 1.0) * (1.0 - require("effectiveness", effectiveness, 0.0, 1.0))
    inside = require("inside_c", inside_c, -80.0, 80.0)
    outside = require("outside_c", outside_c, -80.0, 80.0)
    cold = air_density(np.minimum(inside, outside))
    warm = air_density(np.maximum(inside, outside))
    density_factor = (2.0 / (1.0 + np.cbrt(cold / warm))) ** 1.5
    flow = GOSNEY_OLAMA * area * np.sqrt((1.0 - warm / cold) * GRAVITY * height_m) * density_factor * passed
    return _plain(flow)


def door_heat(
    *,
    width_m: float,
    height_m: float,
    inside_c: float | Array,
    outside_c: float | Array,
    flow_factor: float = 1.0,
    effectiveness: float = 0.0,
) -> float | Array:
    """Sensible heat that leaves through a door standing open [W]; negative when the outside is warmer.

    Parameters
    ----------
    width_m, height_m, inside_c, outside_c, flow_factor, effectiveness
        As in `door_flow`.

    Returns
    -------
    float or ndarray
        ``V rho_cold cp (inside - outside)`` [W].

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.

    Notes
    -----
    Condensing and freezing moisture is ignored: at winter temperatures the air carries little.

    Examples
    --------
    >>> round(door_heat(width_m=2.4, height_m=2.6, inside_c=10.0, outside_c=-20.0) / 1000.0)
    93
    """
    difference = require("inside_c", inside_c, -80.0, 80.0) - require("outside_c", outside_c, -80.0, 80.0)
    flow = door_flow(
        width_m=width_m,
        height_m=height_m,
        inside_c=inside_c,
        outside_c=outside_c,
        flow_factor=flow_factor,
        effectiveness=effectiveness,
    )
    return _plain(flow * air_density(np.minimum(inside_c, outside_c)) * CP_AIR * difference)


def door_conductance(
    *,
    width_m: float,
    height_m: float,
    inside_c: float,
    outside_c: float,
    flow_factor: float = 1.0,
    effectiveness: float = 0.0,
) -> float:
    """Heat through the open door per kelvin of difference [W/K], for models that are linear over a step.

    Parameters
    ----------
    width_m, height_m, inside_c, outside_c, flow_factor, effectiveness
        As in `door_flow`, scalars.

    Returns
    -------
    float
        `door_heat` over the temperature difference [W/K]; 0 at equal temperatures, where the flow vanishes.

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.
    """
    heat = door_heat(
        width_m=width_m,
        height_m=height_m,
        inside_c=inside_c,
        outside_c=outside_c,
        flow_factor=flow_factor,
        effectiveness=effectiveness,
    )
    return float(heat / (inside_c - outside_c)) if inside_c != outside_c else 0.0


def opening_heat(
    heat_flow_w: float | Array,
    *,
    open_s: float | Array,
    box_volume_m3: float,
    inside_c: float | Array,
    outside_c: float | Array,
    regained_w: float | Array = 0.0,
) -> float | Array:
    """Heat one opening carries away [J]: the full flow until the box air is exchanged, then what is regained.

    Parameters
    ----------
    heat_flow_w : float or ndarray
        From `door_heat`, with the temperatures before the opening [W].
    open_s : float or ndarray
        How long the door stands open [s], 0-172 800.
    box_volume_m3 : float
        Air in the box [m3], above 0 to 200.
    inside_c, outside_c : float or ndarray
        Air temperatures before the opening [°C], -80..80.
    regained_w : float or ndarray
        Heat that walls, cargo and heater give back to the air meanwhile [W], 0-1e6.

    Returns
    -------
    float or ndarray
        ``min(flow t, rho V cp dT + regained t)`` [J], with the density of the box air; the sign of the flow.

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None; a heat flow against the temperature difference.
    """
    flow = require("heat_flow_w", heat_flow_w, -1e7, 1e7)
    seconds = require("open_s", open_s, 0.0, 172_800.0)
    volume = require("box_volume_m3", box_volume_m3, 1e-3, 200.0)
    inside = require("inside_c", inside_c, -80.0, 80.0)
    difference = inside - require("outside_c", outside_c, -80.0, 80.0)
    if np.any(np.asarray(flow * difference) < 0.0):
        raise OutOfRange("heat flows from warm to cold", field="heat_flow_w", value=heat_flow_w, limit="sign")
    content = air_density(inside) * volume * CP_AIR * np.abs(difference)
    cap = content + require("regained_w", regained_w, 0.0, 1e6) * seconds
    return _plain(np.sign(flow) * np.minimum(np.abs(flow) * seconds, cap))


def _plain(result: object) -> float | Array:
    array = np.asarray(result, dtype=np.float64)
    return array if array.ndim else float(array)
