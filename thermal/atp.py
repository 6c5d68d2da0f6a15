"""ATP quantities of an insulated body: K value, surface, insulation class, heated class, heat reserve.

ATP is the UNECE agreement on the carriage of perishable foodstuffs. Wording and numbers come from public
copies of Annex 1 in several languages; what no copy showed is marked "from memory". This module classes
numbers, it does not certify equipment.
"""

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import ClassVar

from thermal.errors import Missing, ThermalError
from thermal.ranges import require

__all__ = [
    "HEATED_CLASSES",
    "HEAT_RESERVE_FACTOR",
    "HeatedClass",
    "Insulation",
    "UnknownClass",
    "heat_loss_w",
    "heated_class_for",
    "heated_class_of",
    "insulation_class",
    "k_value",
    "mean_surface",
    "reserve_ratio",
]

HEAT_RESERVE_FACTOR = 1.35
"""Rated heat over heat loss asked of a heating appliance [-]. From memory of ATP Annex 1 and not confirmed
by any page that could be read: a default to be checked against the ATP text, every function takes another
value."""

NORMAL_K = 0.70  # W/m2K, ATP Annex 1 para 1 as published in Austria (L-10010402-L1), read
HEAVY_K = 0.40  # W/m2K, same page
HEAVY_WALL_MM = 45.0  # least wall thickness of a heavily insulated body wider than WIDE_M, same page
WIDE_M = 2.50

INSIDE_TEST_C = 12.0  # heated equipment must hold the empty body at +12 °C (61/1983 Sb., section 4, read)


class UnknownClass(ThermalError):
    """No such heated class, or none that is cold enough."""

    code: ClassVar[str] = "unknown-heated-class"


class Insulation(StrEnum):
    """Insulation class of a body, by its ATP letters."""

    HEAVY = "IR"
    NORMAL = "IN"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class HeatedClass:
    """One class of heated equipment.

    Attributes
    ----------
    letter : str
        A to D.
    outside_c : float
        Mean outside temperature at which +12 °C inside must be held [°C].
    highest_k : float
        Highest K value the class allows [W/m2K].
    source : str
        Where the row comes from and how well it is known.
    """

    letter: str
    outside_c: float
    highest_k: float
    source: str


_READ = "ATP Annex 1 as published in 61/1983 Sb., section 4, read"
_MEMORY = "from memory; that the classes run from A to D was read at coch.pl/en/classification-atp"

HEATED_CLASSES = MappingProxyType(
    {
        row.letter: row
        for row in (
            HeatedClass("A", -10.0, NORMAL_K, _READ),
            HeatedClass("B", -20.0, HEAVY_K, _READ),
            HeatedClass("C", -30.0, HEAVY_K, _MEMORY),
            HeatedClass("D", -40.0, HEAVY_K, _MEMORY),
        )
    }
)


def mean_surface(inside_m2: float, outside_m2: float) -> float:
    """Mean surface of a body, the geometric mean of its inside and outside area [m2].

    Parameters
    ----------
    inside_m2, outside_m2 : float
        Areas [m2], above 0 to 5000; the outside is not the smaller one.

    Returns
    -------
    float
        ``sqrt(Si Se)`` [m2].

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.

    References
    ----------
    ATP Annex 1 appendix 2 para 1.2 works with Si and Se (Trb 2017, 166, read); the square root is from
    memory.

    Examples
    --------
    >>> round(mean_surface(700.0, 771.5), 2)
    734.88
    """
    inside = require("inside_m2", inside_m2, 1e-3, 5000.0)
    return float((inside * require("outside_m2", outside_m2, inside, 5000.0)) ** 0.5)


def k_value(*, heat_w: float, surface_m2: float, difference_k: float) -> float:
    """Overall heat transfer coefficient of a body [W/m2K].

    Parameters
    ----------
    heat_w : float
        Heat given off inside in the steady state [W], above 0 to 1e5.
    surface_m2 : float
        Mean surface [m2], above 0 to 5000.
    difference_k : float
        Mean inside minus mean outside temperature [K], 1-80.

    Returns
    -------
    float
        ``W / (S dT)`` [W/m2K].

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.

    References
    ----------
    Definition from memory; the test runs at 32.5 °C inside and 7.5 °C outside (dnvgl.de, read).

    Examples
    --------
    >>> k_value(heat_w=1000.0, surface_m2=100.0, difference_k=25.0)
    0.4
    """
    heat = require("heat_w", heat_w, 1e-3, 1e5)
    surface = require("surface_m2", surface_m2, 1e-3, 5000.0)
    return heat / (surface * require("difference_k", difference_k, 1.0, 80.0))


def insulation_class(k_w_m2k: float, *, width_m: float, wall_mm: float | None = None) -> Insulation:
    """Insulation class of a body; the limits belong to the better class.

    Parameters
    ----------
    k_w_m2k : float
        K value [W/m2K], 0.05-10.
    width_m : float
        Outside width [m], 0.5-5.
    wall_mm : float, optional
        Thickness of the side walls [mm], 1-500; needed for a body wider than 2.50 m with K of 0.40 or less.

    Returns
    -------
    Insulation
        `IR` heavily insulated, `IN` normally insulated, `none`.

    Raises
    ------
    OutOfRange, Missing
        A value outside its range; the wall thickness missing where it decides.

    Examples
    --------
    >>> insulation_class(0.40, width_m=2.60, wall_mm=40.0)  # good enough a K, too thin a wall
    <Insulation.NORMAL: 'IN'>
    """
    k = require("k_w_m2k", k_w_m2k, 0.05, 10.0)
    width = require("width_m", width_m, 0.5, 5.0)
    wall = None if wall_mm is None else require("wall_mm", wall_mm, 1.0, 500.0)
    if k > NORMAL_K:
        return Insulation.NONE
    if k > HEAVY_K:
        return Insulation.NORMAL
    if width <= WIDE_M:
        return Insulation.HEAVY
    if wall is None:
        raise Missing("wall_mm", message=f"the wall thickness decides for a body wider than {WIDE_M:g} m")
    return Insulation.HEAVY if wall >= HEAVY_WALL_MM else Insulation.NORMAL


def heated_class_of(letter: str) -> HeatedClass:
    """Heated class of that letter.

    Raises
    ------
    UnknownClass
        Not one of A, B, C, D.
    """
    if letter not in HEATED_CLASSES:
        message = f"no heated class {letter!r}"
        raise UnknownClass(message, field="heated_class", value=letter, limit=tuple(HEATED_CLASSES))
    return HEATED_CLASSES[letter]


def heated_class_for(outside_c: float) -> HeatedClass:
    """Mildest heated class made for a mean outside temperature.

    Parameters
    ----------
    outside_c : float
        Mean outside temperature [°C], -80..60.

    Raises
    ------
    UnknownClass
        Colder than class D was made for.
    OutOfRange, Missing
        Not a finite number in the range, or None.

    Examples
    --------
    >>> heated_class_for(-22.0).letter
    'C'
    """
    outside = require("outside_c", outside_c, -80.0, 60.0)
    for row in HEATED_CLASSES.values():
        if outside >= row.outside_c:
            return row
    message = f"no heated class reaches {outside:g} °C"
    raise UnknownClass(message, field="outside_c", value=outside, limit=HEATED_CLASSES["D"].outside_c)


def heat_loss_w(*, k_w_m2k: float, surface_m2: float, outside_c: float, inside_c: float = INSIDE_TEST_C) -> float:
    """Steady heat loss of the empty, closed body [W].

    Parameters
    ----------
    k_w_m2k : float
        K value [W/m2K], 0.05-10.
    surface_m2 : float
        Mean surface [m2], above 0 to 5000.
    outside_c, inside_c : float
        Mean temperatures [°C], -80..60; inside defaults to the +12 °C of the heated classes.

    Returns
    -------
    float
        ``K S (inside - outside)`` [W], negative when it is warmer outside.

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.

    Examples
    --------
    >>> round(heat_loss_w(k_w_m2k=0.40, surface_m2=130.0, outside_c=-20.0))
    1664
    """
    k = require("k_w_m2k", k_w_m2k, 0.05, 10.0)
    surface = require("surface_m2", surface_m2, 1e-3, 5000.0)
    inside = require("inside_c", inside_c, -80.0, 60.0)
    return k * surface * (inside - require("outside_c", outside_c, -80.0, 60.0))


def reserve_ratio(heater_w: float, *, loss_w: float, factor: float = HEAT_RESERVE_FACTOR) -> float:
    """Heater output over the output asked for, ``heater / (factor loss)`` [-]; 1 or more is enough.

    Parameters
    ----------
    heater_w : float
        Heat the appliance gives [W], 0-1e6.
    loss_w : float
        Steady heat loss [W], above 0 to 1e6.
    factor : float
        Reserve asked for [-], 1-5.

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.
    """
    heater = require("heater_w", heater_w, 0.0, 1e6)
    asked = require("factor", factor, 1.0, 5.0) * require("loss_w", loss_w, 1e-3, 1e6)
    return heater / asked
