"""Diesel as a store of heat, and whether it still flows at a temperature.

Two numbers describe cold behaviour: the cloud point (first wax) and the cold filter plugging point, CFPP
(the test filter blocks, EN 116 / ASTM D6371). Additives move the CFPP a lot and the cloud point hardly.
"""

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import ClassVar

from thermal.errors import ThermalError
from thermal.ranges import Array, require

__all__ = [
    "EN590",
    "LHV_J_L",
    "Flow",
    "FuelGrade",
    "UnknownFuelGrade",
    "flow_at",
    "fuel_grade",
    "heat_kwh_from_litres",
    "litres_for_heat_kwh",
]

# 128 450 Btu per US gallon, lower heating value (bizfluent.com/how-6195532, an older Argonne GREET figure;
# read).
BTU_PER_GALLON = 128_450.0
J_PER_BTU = 1055.056
L_PER_GALLON = 3.785412

LHV_J_L = BTU_PER_GALLON * J_PER_BTU / L_PER_GALLON
"""Lower heating value of diesel [J/L], 35.80 MJ/L."""

J_PER_KWH = 3.6e6

CLOUD_ABOVE_CFPP_K = 13.0
"""Assumed cloud point above the CFPP [K] when only the CFPP is known: the wider of two published examples,
cloud -7 with CFPP -20 °C and cloud +1 with CFPP -10 °C (en.wikipedia.org, Cold filter plugging point;
read)."""

MARGIN_K = 3.0
"""Default distance kept above the CFPP [K]: a real engine was seen to stop before the test's limit (same
page). The size is a choice of this project."""

UNKNOWN_GELS_BELOW_C = -10.0
"""Fuel of unknown grade is taken to gel below this [°C]. Choice of this project."""


class UnknownFuelGrade(ThermalError):
    """A grade this table does not have; `unknown` is the word for fuel nobody can name."""

    code: ClassVar[str] = "unknown-fuel-grade"


class Flow(StrEnum):
    """What the fuel does at a temperature."""

    SUFFICIENT = "sufficient"
    MARGINAL = "marginal"
    GEL = "gel"


@dataclass(frozen=True, slots=True)
class FuelGrade:
    """One cold class of EN 590.

    Attributes
    ----------
    key : str
        `en590-a` .. `en590-f` (temperate), `en590-0` .. `en590-4` (arctic), or `unknown`.
    cfpp_c : float or None
        Highest CFPP the class allows [°C]; None when unknown.
    source : str
        Where the number was seen and how well it is known.
    """

    key: str
    cfpp_c: float | None
    source: str


_READ = "EN 590 as quoted at forums.mbclub.co.uk, read"
# That page skips class E and prints "F -15". Class F for a -20 °C winter is confirmed by
# piglix.com/piglix/EN_590 with nikita1.it; -15 for E is what is left for the sixth class.
_F = "EN 590 class F, from piglix.com and nikita1.it, read; the number itself from memory"
_E = "EN 590 class E, from memory"

EN590 = MappingProxyType(
    {
        grade.key: grade
        for grade in (
            *(FuelGrade(f"en590-{k}", c, _READ) for k, c in (("a", 5.0), ("b", 0.0), ("c", -5.0), ("d", -10.0))),
            FuelGrade("en590-e", -15.0, _E),
            FuelGrade("en590-f", -20.0, _F),
            *(FuelGrade(f"en590-{k}", -20.0 - 6.0 * k, _READ) for k in range(5)),
            FuelGrade("unknown", None, "nobody could name the fuel"),
        )
    }
)


def fuel_grade(key: str) -> FuelGrade:
    """Grade of that key.

    Raises
    ------
    UnknownFuelGrade
        No such key.

    Examples
    --------
    >>> fuel_grade("en590-2").cfpp_c
    -32.0
    """
    if key not in EN590:
        raise UnknownFuelGrade(f"no fuel grade {key!r}", field="fuel_grade", value=key, limit=tuple(EN590))
    return EN590[key]


def flow_at(fuel_c: float, *, grade: FuelGrade, cloud_c: float | None = None, margin_k: float = MARGIN_K) -> Flow:
    """Whether fuel of this grade flows at a temperature.

    Parameters
    ----------
    fuel_c : float
        Fuel temperature [°C], -80..60. Without a measurement use the coldest ambient hour.
    grade : FuelGrade
        From `fuel_grade`.
    cloud_c : float, optional
        Cloud point from the supplier's certificate [°C]. Without it the cloud point is taken 13 K above the
        CFPP.
    margin_k : float
        Distance kept above the CFPP [K], 0-20.

    Returns
    -------
    Flow
        `sufficient` at or above the cloud point; `gel` below CFPP + margin; `marginal` between. Fuel of
        unknown grade is never sufficient and gels below -10 °C.

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None; a cloud point below the CFPP.

    Notes
    -----
    The three-step rule is a choice of this project. The EN 590 classes promise a CFPP, not a cloud point.

    Examples
    --------
    >>> flow_at(-25.0, grade=fuel_grade("en590-2"))
    <Flow.MARGINAL: 'marginal'>
    """
    fuel = require("fuel_c", fuel_c, -80.0, 60.0)
    margin = require("margin_k", margin_k, 0.0, 20.0)
    if grade.cfpp_c is None:
        return Flow.GEL if fuel < UNKNOWN_GELS_BELOW_C else Flow.MARGINAL
    cloud = grade.cfpp_c + CLOUD_ABOVE_CFPP_K
    if cloud_c is not None:
        cloud = require("cloud_c", cloud_c, grade.cfpp_c, 30.0)
    if fuel < grade.cfpp_c + margin:
        return Flow.GEL
    return Flow.SUFFICIENT if fuel >= cloud else Flow.MARGINAL


def litres_for_heat_kwh(heat_kwh: float | Array, *, efficiency: float | Array) -> float | Array:
    """Litres of diesel that give an amount of useful heat.

    Parameters
    ----------
    heat_kwh : float or ndarray
        Useful heat [kWh], 0-1e6.
    efficiency : float or ndarray
        Useful heat over the fuel's lower heating value [-], 0.05-1.

    Returns
    -------
    float or ndarray
        Fuel [L].

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.

    Examples
    --------
    >>> round(litres_for_heat_kwh(10.0, efficiency=0.8), 3)
    1.257
    """
    heat = require("heat_kwh", heat_kwh, 0.0, 1e6)
    return heat * J_PER_KWH / (_efficiency(efficiency) * LHV_J_L)


def heat_kwh_from_litres(fuel_l: float | Array, *, efficiency: float | Array) -> float | Array:
    """Useful heat [kWh] in an amount of diesel; the inverse of `litres_for_heat_kwh`.

    Parameters
    ----------
    fuel_l : float or ndarray
        Fuel [L], 0-1e5.
    efficiency : float or ndarray
        Useful heat over the fuel's lower heating value [-], 0.05-1.

    Returns
    -------
    float or ndarray
        Useful heat [kWh].

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.
    """
    litres = require("fuel_l", fuel_l, 0.0, 1e5)
    return litres * _efficiency(efficiency) * LHV_J_L / J_PER_KWH


def _efficiency(value: float | Array) -> float | Array:
    return require("efficiency", value, 0.05, 1.0)
