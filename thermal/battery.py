"""State of charge, freezing point and cranking strength of a flooded lead-acid starter battery.

Works from the voltage at rest. What the readiness check does with the numbers (limits, words) is not
decided here.
"""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from thermal.errors import Missing, OutOfRange, ThermalError
from thermal.ranges import Array, require

__all__ = [
    "BatteryState",
    "NotAtRest",
    "charge_from_gravity",
    "cranking_factor",
    "freezing_c_from_gravity",
    "rested_battery",
]

# US Army TM 5-1185, battery section (80 °F basis): specific gravity and state of charge. Read.
CHARGE_GRAVITY = (1.130, 1.190, 1.220, 1.250, 1.280)
CHARGE_SHARE = (0.00, 0.25, 0.50, 0.75, 1.00)

# Same table: specific gravity and freezing point, printed as 19, 5, -16, -62 and -90 °F. Read. The first
# row is plain water at 0 °C, which closes the table for a battery flatter than its last line.
FREEZING_GRAVITY = (1.000, 1.100, 1.150, 1.200, 1.250, 1.280)
FREEZING_F = (32.0, 19.0, 5.0, -16.0, -62.0, -90.0)

# Same manual: cranking strength of a full battery at 80, 30 and 0 °F. Read.
CRANKING_F = (0.0, 30.0, 80.0)
CRANKING_SHARE = (0.40, 0.65, 1.00)

REFERENCE_C = (80.0 - 32.0) / 1.8
VOLTS_OVER_GRAVITY = 0.84  # cell volts = specific gravity + 0.84 (electrapk.com, read)
CELLS = {12: 6, 24: 12}

VOLTS_PER_CELL_K = 0.0002
"""Rise of the rest voltage of one cell with temperature [V/K]. From memory: a small correction, 0.05 V in
all."""

LEAST_REST_H = 2.0
"""Hours after charging or load before the voltage means anything. From memory (2-4 h is common practice)."""

HIGHEST_GRAVITY = 1.33
"""Above this (13.0 V on 12 V nominal) the battery is being charged or carries a surface charge.
Assumption."""


class NotAtRest(ThermalError):
    """The voltage was taken with the engine running or too soon after it stopped, so it says nothing."""

    code: ClassVar[str] = "battery-not-at-rest"


@dataclass(frozen=True, slots=True)
class BatteryState:
    """What one rest voltage says about a battery.

    Attributes
    ----------
    gravity : float
        Specific gravity of the acid at 80 °F [-].
    charge : float
        State of charge, 0-1.
    freezes_c : float
        Freezing point of the acid [°C].
    """

    gravity: float
    charge: float
    freezes_c: float


def rested_battery(rest_v: float, *, nominal_v: int, battery_c: float, rest_h: float, engine_on: bool) -> BatteryState:
    """State of a battery from its voltage at rest.

    Parameters
    ----------
    rest_v : float
        Open-circuit voltage of the whole battery [V].
    nominal_v : int
        12 or 24 (two 12 V batteries in series: the mean of the two is judged, one weak half stays hidden).
    battery_c : float
        Temperature of the battery when it was measured [°C], -60..60.
    rest_h : float
        Hours since the engine stopped or charging ended [h], at least 2.
    engine_on : bool
        Whether the engine ran while the voltage was read.

    Returns
    -------
    BatteryState

    Raises
    ------
    NotAtRest
        Engine on, or rested for less than 2 h.
    OutOfRange, Missing
        A value outside its range or None; a voltage that no resting battery has.

    Notes
    -----
    ``SG = V / cells - 0.84``, brought from the battery's temperature to the 80 °F of the table with
    `VOLTS_PER_CELL_K`. That constant is from memory and, on a cold battery, makes the acid look stronger;
    so the freezing point is taken from the weaker of the corrected and the uncorrected gravity.

    Examples
    --------
    >>> state = rested_battery(12.0, nominal_v=12, battery_c=-15.0, rest_h=8.0, engine_on=False)
    >>> round(state.freezes_c, 1)  # SG 1.16, "almost discharged": a freeze risk at -15 °C
    -17.3
    """
    if engine_on is not False:
        raise NotAtRest("the engine was not off", field="engine_on", value=engine_on)
    rested = require("rest_h", rest_h, 0.0, 1e6)
    if rested < LEAST_REST_H:
        message = f"rested for {rested:g} h, at least {LEAST_REST_H:g} h are needed"
        raise NotAtRest(message, field="rest_h", value=rested, limit=LEAST_REST_H)
    cells = _cells(nominal_v)
    temperature = require("battery_c", battery_c, -60.0, 60.0)
    plain = require("rest_v", rest_v, 1e-3, 60.0) / cells - VOLTS_OVER_GRAVITY
    corrected = plain + VOLTS_PER_CELL_K * (REFERENCE_C - temperature)
    weaker = min(plain, corrected)
    if weaker < FREEZING_GRAVITY[0] or max(plain, corrected) > HIGHEST_GRAVITY:
        low, high = (cells * (sg + VOLTS_OVER_GRAVITY) for sg in (FREEZING_GRAVITY[0], HIGHEST_GRAVITY))
        message = f"{rest_v:g} V is no rest voltage of a {nominal_v} V battery"
        raise OutOfRange(message, field="rest_v", value=rest_v, limit=(round(low, 2), round(high, 2)))
    return BatteryState(
        gravity=corrected,
        charge=float(charge_from_gravity(corrected)),
        freezes_c=float(freezing_c_from_gravity(weaker)),
    )


def charge_from_gravity(gravity: float | Array) -> float | Array:
    """State of charge, 0-1, from the specific gravity of the acid at 80 °F.

    Parameters
    ----------
    gravity : float or ndarray, any shape
        Specific gravity [-], 1.00-1.33.

    Returns
    -------
    float or ndarray, same shape
        State of charge [-]; 0 at and below 1.130, 1 at and above 1.280, the ends of the table.

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in the range, or None.

    References
    ----------
    US Army TM 5-1185, battery section.

    Examples
    --------
    >>> charge_from_gravity(1.25)
    0.75
    """
    sg = require("gravity", gravity, FREEZING_GRAVITY[0], HIGHEST_GRAVITY)
    return _interpolate(sg, CHARGE_GRAVITY, CHARGE_SHARE)


def freezing_c_from_gravity(gravity: float | Array) -> float | Array:
    """Freezing point of the acid [°C] from its specific gravity at 80 °F.

    Parameters
    ----------
    gravity : float or ndarray, any shape
        Specific gravity [-], 1.00-1.33.

    Returns
    -------
    float or ndarray, same shape
        First ice [°C]; never below -67.8 °C, the last line of the table.

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in the range, or None.

    Notes
    -----
    Straight lines between the lines of the table. The real curve bends, so between two lines the answer may
    be about 2 K too cold: judge with a margin.

    References
    ----------
    US Army TM 5-1185, battery section.

    Examples
    --------
    >>> round(freezing_c_from_gravity(1.15), 1)
    -15.0
    """
    sg = require("gravity", gravity, FREEZING_GRAVITY[0], HIGHEST_GRAVITY)
    return (_interpolate(sg, FREEZING_GRAVITY, FREEZING_F) - 32.0) / 1.8


def cranking_factor(battery_c: float | Array) -> float | Array:
    """Share of its 80 °F cranking strength a full battery keeps at a temperature.

    Parameters
    ----------
    battery_c : float or ndarray, any shape
        Temperature of the battery [°C], -60..60.

    Returns
    -------
    float or ndarray, same shape
        1 at 26.7 °C and above, 0.65 at -1.1 °C, 0.40 at -17.8 °C, falling on with the same slope to 0.

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in the range, or None.

    Notes
    -----
    The manual ends at 0 °F; the continuation below it is an assumption. The factor is for a *full* battery
    and says nothing about what the cold engine demands.

    References
    ----------
    US Army TM 5-1185, battery section.

    Examples
    --------
    >>> round(cranking_factor(-17.7778), 2)
    0.4
    """
    fahrenheit = require("battery_c", battery_c, -60.0, 60.0) * 1.8 + 32.0
    slope = (CRANKING_SHARE[1] - CRANKING_SHARE[0]) / (CRANKING_F[1] - CRANKING_F[0])
    ends_f = CRANKING_F[0] - CRANKING_SHARE[0] / slope
    return _interpolate(fahrenheit, (ends_f, *CRANKING_F), (0.0, *CRANKING_SHARE))


def _cells(nominal_v: int | None) -> int:
    if nominal_v is None:
        raise Missing("nominal_v")
    if isinstance(nominal_v, bool) or nominal_v not in CELLS:
        message = f"nominal_v must be 12 or 24, not {nominal_v!r}"
        raise OutOfRange(message, field="nominal_v", value=nominal_v, limit=tuple(CELLS))
    return CELLS[nominal_v]


def _interpolate(at: float | Array, xs: tuple[float, ...], ys: tuple[float, ...]) -> float | Array:
    result = np.asarray(np.interp(at, xs, ys), dtype=np.float64)
    return result if isinstance(at, np.ndarray) else float(result)
