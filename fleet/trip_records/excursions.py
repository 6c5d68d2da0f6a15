"""When a measured temperature left its range: from arrays, no rows and no clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Excursion:
    """One stay outside a limit.

    `from_s` is the first reading outside, `until_s` the first one inside again. Where readings end or fall silent
    first, `until_s` is the last one outside and `returned` is False: it may have lasted longer. `extreme_c` is the
    value farthest from the limit, at `extreme_s`.
    """

    side: str
    limit_c: float
    from_s: float
    until_s: float
    extreme_c: float
    extreme_s: float
    returned: bool

    @property
    def length_s(self) -> float:
        return self.until_s - self.from_s


def excursions(
    at_s: Array, values_c: Array, *, low_c: float | None, high_c: float | None, longer_s: float
) -> list[Excursion]:
    """Every stay below `low_c` or above `high_c`, in order of time.

    Parameters
    ----------
    at_s, values_c : ndarray, shape (n,)
        Moments, ascending [s], and what was measured then [degC]; no NaN.
    low_c, high_c : float or None
        Ends of the range; a value equal to one is inside.
    longer_s : float
        A silence longer than this ends a stay: nobody knows what was in it [s].
    """
    found: list[Excursion] = []
    for side, limit_c, outside in (
        ("below", low_c, None if low_c is None else values_c < low_c),
        ("above", high_c, None if high_c is None else values_c > high_c),
    ):
        if limit_c is not None and outside is not None:
            found += _of_side(at_s, values_c, outside, side=side, limit_c=limit_c, longer_s=longer_s)
    return sorted(found, key=lambda one: (one.from_s, one.side))


def _of_side(
    at_s: Array, values_c: Array, outside: NDArray[np.bool_], *, side: str, limit_c: float, longer_s: float
) -> list[Excursion]:
    found: list[Excursion] = []
    first: int | None = None
    for i in range(len(at_s) + 1):
        ended = i == len(at_s)
        silent = not ended and i > 0 and at_s[i] - at_s[i - 1] > longer_s
        if first is not None and (ended or silent or not outside[i]):
            stay = values_c[first:i]
            extreme = first + int(stay.argmin() if side == "below" else stay.argmax())
            returned = not ended and not silent
            found.append(
                Excursion(
                    side=side,
                    limit_c=limit_c,
                    from_s=float(at_s[first]),
                    until_s=float(at_s[i] if returned else at_s[i - 1]),
                    extreme_c=float(values_c[extreme]),
                    extreme_s=float(at_s[extreme]),
                    returned=returned,
                )
            )
            first = None
        if first is None and not ended and outside[i]:
            first = i
    return found
