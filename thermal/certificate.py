"""How an insulated body grows old: the bound on its K value, and how long its ATP certificate may run."""

from calendar import monthrange
from datetime import date
from enum import StrEnum
from types import MappingProxyType

from thermal.atp import HEAVY_K, NORMAL_K
from thermal.ranges import require

__all__ = ["Certificate", "aged_k", "certificate_ends_on", "highest_yearly_growth"]


class Certificate(StrEnum):
    """How the body behind a certificate was judged."""

    TESTED = "tested"
    TYPE_APPROVED = "type_approved"
    EXAMINED = "examined"


# Years a certificate runs: 6 if tested or of an approved type, 3 if only examined (UK SI 1985/1071, note;
# read).
CERTIFICATE_YEARS = MappingProxyType({Certificate.TESTED: 6, Certificate.TYPE_APPROVED: 6, Certificate.EXAMINED: 3})


def highest_yearly_growth(*, new_k: float = HEAVY_K, old_k: float = NORMAL_K, years: float = 12.0) -> float:
    """Yearly growth of K that leads from one value to another [1/year].

    Parameters
    ----------
    new_k, old_k : float
        K at the start and at the end [W/m2K], 0.05-10, the end not the smaller.
    years : float
        Time between them [years], 0.1-100.

    Returns
    -------
    float
        ``(old/new)^(1/years) - 1``. The defaults give the upper bound 0.0477: of 110 heavily insulated bodies
        tested after twelve years every one was below 0.70 (IIR fridoc 31844, read).

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.

    Examples
    --------
    >>> round(highest_yearly_growth(), 4)
    0.0477
    """
    start = require("new_k", new_k, 0.05, 10.0)
    ratio = require("old_k", old_k, start, 10.0) / start
    return float(ratio ** (1.0 / require("years", years, 0.1, 100.0)) - 1.0)


def aged_k(new_k: float, *, years: float, yearly_growth: float) -> float:
    """K value of a body after some years of compound ageing [W/m2K].

    Parameters
    ----------
    new_k : float
        K when new or last tested [W/m2K], 0.05-10.
    years : float
        Years since then [years], 0-40.
    yearly_growth : float
        Growth of K per year [1/year], from 0 to the bound of `highest_yearly_growth`.

    Returns
    -------
    float
        ``K (1 + g)^years`` [W/m2K].

    Raises
    ------
    OutOfRange, Missing
        A value outside its range, or None.

    Notes
    -----
    Any growth below the bound is an assumption: a dated K test is better than this function.
    """
    start = require("new_k", new_k, 0.05, 10.0)
    growth = require("yearly_growth", yearly_growth, 0.0, highest_yearly_growth())
    return float(start * (1.0 + growth) ** require("years", years, 0.0, 40.0))


def certificate_ends_on(issued_on: date, *, kind: Certificate) -> date:
    """Last day a certificate may run to: six years if tested or of an approved type, three if only examined.

    Parameters
    ----------
    issued_on : date
        Day of the test or examination. A certificate of 29 February ends on 28 February.
    kind : Certificate
        How the body was judged.

    References
    ----------
    ATP Annex 1 appendix 1 paras 1-2 (at least every six years); UK SI 1985/1071, note; both read. What
    follows after the first six years differs by country and is not modelled.

    Examples
    --------
    >>> certificate_ends_on(date(2024, 2, 29), kind=Certificate.TESTED)
    datetime.date(2030, 2, 28)
    """
    year = issued_on.year + CERTIFICATE_YEARS[kind]
    return date(year, issued_on.month, min(issued_on.day, monthrange(year, issued_on.month)[1]))
