"""Freezing point of an ethylene-glycol and water coolant, and its margin to the coldest hour.

All functions take floats or arrays. The share is by **volume** unless the name says mass: workshop
refractometers and the printed mixing tables are by volume, property libraries are by mass, and confusing
the two is worth 1-3 K.
"""

import numpy as np

from thermal.ranges import Array, require

__all__ = [
    "PURE_GLYCOL_FREEZES_C",
    "STRONGEST_VOL_PCT",
    "coolant_margin_k",
    "freezing_c_from_mass",
    "freezing_c_from_volume",
    "mass_from_volume",
    "volume_from_freezing_c",
    "volume_from_mass",
]

# Engineering handbook page reprinted as scribd 671664902: freezing point [°C] against volume share [%]. Read.
TABLE_VOL_PCT = (0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0)
TABLE_FREEZES_C = (0.0, -3.0, -8.0, -16.0, -25.0, -37.0, -55.0)

STRONGEST_VOL_PCT = 60.0
"""Volume share [%] with the lowest freezing point of the table; more glycol is not colder."""

PURE_GLYCOL_FREEZES_C = -13.0
"""Freezing point of undiluted ethylene glycol [°C]. From memory, not verified."""

# Densities at 20 °C [kg/m3] that turn a volume share into a mass share. CoolProp 8.0.0, computed.
GLYCOL_KG_M3 = 1113.2
WATER_KG_M3 = 998.2


def freezing_c_from_volume(glycol_vol_pct: float | Array) -> float | Array:
    """Freezing point of the mix, read from the published table [°C].

    Parameters
    ----------
    glycol_vol_pct : float or ndarray, any shape
        Ethylene glycol as a share of the volume at 20 °C [%], 0-100.

    Returns
    -------
    float or ndarray, same shape
        First ice [°C].

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in 0-100, or None.

    Notes
    -----
    Straight lines through the table up to 60 %. The table is the warmer of the sources compared at every
    share: CoolProp MEG and AEG lie up to 4 K below it (tests/published), so the warmer value governs by
    construction. Above 60 % no source was read: a straight line rises to the freezing point of pure glycol.
    The real curve dips a little further before it turns, so the line is on the warm, safe side. Corrosion
    inhibitors and dirt are ignored.

    Examples
    --------
    >>> freezing_c_from_volume(50.0)  # half and half: ASTM asks for -34 °F (-37 °C) or colder
    -37.0
    >>> freezing_c_from_volume(80.0)
    -34.0
    """
    share = require("glycol_vol_pct", glycol_vol_pct, 0.0, 100.0)
    freezes = np.interp(share, (*TABLE_VOL_PCT, 100.0), (*TABLE_FREEZES_C, PURE_GLYCOL_FREEZES_C))
    return _like(share, freezes)


def freezing_c_from_mass(glycol_mass_pct: float | Array) -> float | Array:
    """Freezing point of a mix given by mass [°C]; see `freezing_c_from_volume`.

    Parameters
    ----------
    glycol_mass_pct : float or ndarray, any shape
        Ethylene glycol as a share of the mass [%], 0-100.

    Returns
    -------
    float or ndarray, same shape
        First ice [°C].

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in 0-100, or None.
    """
    return freezing_c_from_volume(volume_from_mass(glycol_mass_pct))


def mass_from_volume(glycol_vol_pct: float | Array) -> float | Array:
    """Mass share [%] of a mix whose volume share [%] is known.

    Parameters
    ----------
    glycol_vol_pct : float or ndarray, any shape
        Volume share at 20 °C [%], 0-100.

    Returns
    -------
    float or ndarray, same shape
        Mass share [%].

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in 0-100, or None.

    Notes
    -----
    ``v rho_g / (v rho_g + (100 - v) rho_w)``; the few tenths of a percent by which the mix contracts are
    ignored.

    Examples
    --------
    >>> round(mass_from_volume(50.0), 2)
    52.72
    """
    share = require("glycol_vol_pct", glycol_vol_pct, 0.0, 100.0)
    glycol = share * GLYCOL_KG_M3
    return 100.0 * (glycol / (glycol + (100.0 - share) * WATER_KG_M3))  # the ratio first: never above 100


def volume_from_mass(glycol_mass_pct: float | Array) -> float | Array:
    """Volume share [%] of a mix whose mass share [%] is known; the inverse of `mass_from_volume`.

    Parameters
    ----------
    glycol_mass_pct : float or ndarray, any shape
        Mass share [%], 0-100.

    Returns
    -------
    float or ndarray, same shape
        Volume share at 20 °C [%].

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in 0-100, or None.
    """
    share = require("glycol_mass_pct", glycol_mass_pct, 0.0, 100.0)
    glycol = share / GLYCOL_KG_M3
    return 100.0 * (glycol / (glycol + (100.0 - share) / WATER_KG_M3))


def volume_from_freezing_c(freezes_c: float | Array) -> float | Array:
    """Volume share [%] of a mix from the freezing point a refractometer's scale shows.

    Parameters
    ----------
    freezes_c : float or ndarray, any shape
        Reading of the scale [°C], from 0 down to -55.

    Returns
    -------
    float or ndarray, same shape
        Volume share [%], 0-60.

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in -55..0, or None.

    Notes
    -----
    Two mixes share each low freezing point; the weaker one is returned, because the scale is printed for it.

    Examples
    --------
    >>> volume_from_freezing_c(-37.0)
    50.0
    """
    reading = require("freezes_c", freezes_c, TABLE_FREEZES_C[-1], 0.0)
    return _like(reading, np.interp(reading, TABLE_FREEZES_C[::-1], TABLE_VOL_PCT[::-1]))


def coolant_margin_k(glycol_vol_pct: float | Array, *, coldest_c: float | Array) -> float | Array:
    """Kelvins between the coldest hour and the coolant's freezing point; negative means ice.

    Parameters
    ----------
    glycol_vol_pct : float or ndarray
        Volume share [%], 0-100.
    coldest_c : float or ndarray, broadcasts with the share
        Coldest ambient temperature the parked unit will see [°C], -80..60.

    Returns
    -------
    float or ndarray
        ``coldest_c - freezing point`` [K].

    Raises
    ------
    OutOfRange, Missing
        Either value is not a finite number in its range, or None.

    Examples
    --------
    >>> coolant_margin_k(30.0, coldest_c=-20.0)
    -4.0
    """
    ambient = require("coldest_c", coldest_c, -80.0, 60.0)
    return ambient - freezing_c_from_volume(glycol_vol_pct)


def _like(source: float | Array, result: object) -> float | Array:
    """Give a float back for a float: numpy's interp returns a numpy scalar."""
    array = np.asarray(result, dtype=np.float64)
    return array if isinstance(source, np.ndarray) else float(array)
