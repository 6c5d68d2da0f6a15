"""The two-sided tabular CUSUM: has the mean of a series of standardised values moved?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

__all__ = ["Shift", "first_shift", "run_length_siegmund"]

ALLOWANCE, DECISION = 0.5, 5.0
"""k and h in standard deviations: a shift of one sd is found in about ten values, a false one comes once in 465
(Montgomery, Introduction to Statistical Quality Control, table of ARL of the tabular CUSUM; from memory, checked by
simulation in tests/published)."""


@dataclass(frozen=True, slots=True)
class Shift:
    """A move of the mean: position of the value that proved it, of the first value after the move, and its sign."""

    found: int
    began: int
    up: bool


def first_shift(z: Sequence[float], *, k: float = ALLOWANCE, h: float = DECISION) -> Shift | None:
    """Return the first shift of a series of standardised values, or None.

    Notes
    -----
    `C+ = max(0, z - k + C+)`, `C- = max(0, -z - k + C-)`; a sum above h says that the mean has moved, and the last
    value at which it was 0 says since when (Page 1954; Montgomery, section on the tabular CUSUM).

    Examples
    --------
    >>> first_shift([0.0, 0.2, -0.1, 2.0, 2.0, 2.0, 2.0])
    Shift(found=6, began=3, up=True)
    """
    up = down = 0.0
    up_from = down_from = 0
    for i, value in enumerate(z):
        up, down = max(0.0, up + value - k), max(0.0, down - value - k)
        up_from = i + 1 if up == 0.0 else up_from
        down_from = i + 1 if down == 0.0 else down_from
        if up > h or down > h:
            return Shift(i, up_from if up > h else down_from, up > h)
    return None


def run_length_siegmund(*, shift: float, k: float = ALLOWANCE, h: float = DECISION) -> float:
    """Return the average run length of a one-sided CUSUM when the mean lies `shift` sd above its target.

    Notes
    -----
    Siegmund's approximation: `ARL = (exp(-2 D b) + 2 D b - 1) / (2 D^2)` with `D = shift - k`, `b = h + 1.166`; b^2 for
    D = 0. Two-sided: `1/ARL = 1/ARL+ + 1/ARL-`.

    References
    ----------
    Siegmund, Sequential Analysis, Springer 1985; as printed in Montgomery.

    Examples
    --------
    >>> round(run_length_siegmund(shift=0.0) / 2)
    469
    """
    drift, bound = shift - k, h + 1.166
    if abs(drift) < 1e-9:
        return bound**2
    return (exp(-2 * drift * bound) + 2 * drift * bound - 1) / (2 * drift**2)
