"""Heat capacity, latent heat and freezing point of wet goods from their composition.

Used when a load has no row in the commodity table. Two questions pull in opposite directions: *how soon
does it freeze* is safe with the lower heat capacity, *how much heat or fuel does it take to warm it* with
the higher. The functions say which side they are on; nobody averages the two.
"""

import numpy as np

from thermal.errors import OutOfRange
from thermal.ranges import Array, require

__all__ = [
    "freezing_c_of_solution",
    "heat_capacity_for_cooling",
    "heat_capacity_for_warming",
    "heat_capacity_frozen",
    "latent_heat",
    "nzifst_above",
    "nzifst_below",
    "nzifst_latent",
]

ASHRAE_LATENT_J_KG = 334_000.0
"""Latent heat of the water in food [J/kg]: the latent column of ASHRAE Refrigeration ch. 9 table 3 is 334
w."""

ICE_MELTS_K = 273.15
GAS_CONSTANT = 8.314462618  # J/molK, CODATA 2018
FUSION_J_MOL = 6009.5  # latent heat of ice at 0 °C per mole, 333.6 kJ/kg x 18.015 g/mol
WATER_G_MOL = 18.015


def heat_capacity_for_cooling(water: float | Array) -> float | Array:
    """Heat capacity above freezing by Siebel, the low side: for *time to freeze* [J/kgK].

    Parameters
    ----------
    water : float or ndarray, any shape
        Water as a share of the mass [-], 0-1.

    Returns
    -------
    float or ndarray, same shape
        ``837.36 + 3349 w`` [J/kgK].

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in 0-1, or None.

    Notes
    -----
    1 to 12 % below ASHRAE's printed values (garlic most), so it makes goods freeze sooner than they will.

    References
    ----------
    Siebel 1892, constants as coded in gbingol/scisuit_pypkg (read).

    Examples
    --------
    >>> round(heat_capacity_for_cooling(0.9601))  # cucumber; ASHRAE prints 4090
    4053
    """
    return 837.36 + 3349.0 * _share(water)


def heat_capacity_for_warming(water: float | Array) -> float | Array:
    """Heat capacity above freezing by Chen, the high side: for *heat, fuel and warm-up* [J/kgK].

    Parameters
    ----------
    water : float or ndarray, any shape
        Water as a share of the mass [-], 0-1; everything else counts as solids.

    Returns
    -------
    float or ndarray, same shape
        ``4190 - 2300 s - 628 s^3`` with solids ``s = 1 - w`` [J/kgK].

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in 0-1, or None.

    Notes
    -----
    Within 1 % of the printed ASHRAE values (tests/published).

    References
    ----------
    Chen 1985, as in ASHRAE Refrigeration ch. 9; formula from memory, confirmed against that chapter's table
    3.

    Examples
    --------
    >>> round(heat_capacity_for_warming(0.8779))  # carrot; ASHRAE prints 3920
    3908
    """
    solids = 1.0 - _share(water)
    return 4190.0 - 2300.0 * solids - 628.0 * solids**3


def heat_capacity_frozen(water: float | Array) -> float | Array:
    """Heat capacity of fully frozen goods by Siebel [J/kgK].

    Parameters
    ----------
    water : float or ndarray, any shape
        Water as a share of the mass [-], 0-1.

    Returns
    -------
    float or ndarray, same shape
        ``837.36 + 1256 w`` [J/kgK]; `nzifst_below` has a slope of 1260.

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in 0-1, or None.

    References
    ----------
    Siebel 1892, constants as coded in gbingol/scisuit_pypkg (read).
    """
    return 837.36 + 1256.0 * _share(water)


def latent_heat(water: float | Array) -> float | Array:
    """Heat released when all the water freezes [J/kg].

    Parameters
    ----------
    water : float or ndarray, any shape
        Water as a share of the mass [-], 0-1.

    Returns
    -------
    float or ndarray, same shape
        ``334 000 w`` [J/kg].

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in 0-1, or None.

    Notes
    -----
    Some of the water never freezes at transport temperatures: this is an upper limit of the heat that a
    freezing load can give, and the load is lost long before it is used up.

    Examples
    --------
    >>> round(latent_heat(0.9215) / 1000.0)  # cabbage; ASHRAE prints 308
    308
    """
    return ASHRAE_LATENT_J_KG * _share(water)


def freezing_c_of_solution(
    solute: float | Array, *, solute_g_mol: float, water: float | Array | None = None
) -> float | Array:
    """First ice of an ideal watery solution [°C]: for drinks, syrups and juices without a measured value.

    Parameters
    ----------
    solute : float or ndarray
        Dissolved matter as a share of the mass [-], 0-0.3.
    solute_g_mol : float
        Its molar mass [g/mol], 10-1000 (ethanol 46.07, hexose sugar 180.2, sucrose 342.3).
    water : float or ndarray, optional
        Water as a share of the mass [-]; default everything but the solute. Give it when fibre or fat is in
        the rest.

    Returns
    -------
    float or ndarray
        Temperature at which the first ice can form [°C], 0 for pure water.

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None; shares that add up to more than 1.

    Notes
    -----
    ``1/T = 1/T0 - R ln(x) / L`` with ``x`` the mole share of water. Salts count once per ion: pass the
    molar mass divided by the number of ions. Within 0.2 K of CoolProp's ethanol mixtures to 10 % by mass.

    Examples
    --------
    >>> round(freezing_c_of_solution(0.097, solute_g_mol=46.07), 1)  # wine, 12 % by volume
    -4.2
    """
    dissolved = require("solute", solute, 0.0, 0.3)
    molar = require("solute_g_mol", solute_g_mol, 10.0, 1000.0)
    solvent = 1.0 - dissolved if water is None else require("water", water, 0.3, 1.0)
    if np.any(np.asarray(solvent + dissolved) > 1.0 + 1e-9):
        raise OutOfRange("water and solute add up to more than 1", field="water", value=water, limit=1.0)
    moles_of_water = solvent / WATER_G_MOL
    activity = np.asarray(moles_of_water / (moles_of_water + dissolved / molar))
    freezes = 1.0 / (1.0 / ICE_MELTS_K - GAS_CONSTANT * np.log(activity) / FUSION_J_MOL) - ICE_MELTS_K
    return freezes if freezes.ndim else float(freezes)


def nzifst_above(water: float | Array) -> float | Array:
    """Heat capacity above freezing by the rule of the NZIFST handbook, ``840 + 3350 w`` [J/kgK].

    Parameters
    ----------
    water : float or ndarray, any shape
        Water as a share of the mass [-], 0-1.

    Returns
    -------
    float or ndarray, same shape
        Heat capacity [J/kgK]; the source itself calls it "a considerable over-simplification".

    Raises
    ------
    OutOfRange, Missing
        Not a finite number in 0-1, or None.

    References
    ----------
    Unit Operations in Food Processing, appendix 7 (nzifst.org.nz, read).
    """
    return 840.0 + 3350.0 * _share(water)


def nzifst_below(water: float | Array) -> float | Array:
    """Heat capacity below freezing by the rule of the NZIFST handbook, ``840 + 1260 w`` [J/kgK].

    Parameters, errors and reference as in `nzifst_above`.
    """
    return 840.0 + 1260.0 * _share(water)


def nzifst_latent(water: float | Array) -> float | Array:
    """Latent heat by the rule of the NZIFST handbook, ``335 000 w`` [J/kg].

    Parameters, errors and reference as in `nzifst_above`.
    """
    return 335_000.0 * _share(water)


def _share(water: float | Array) -> float | Array:
    return require("water", water, 0.0, 1.0)
