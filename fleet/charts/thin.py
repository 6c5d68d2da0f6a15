"""Fewer points that tell the same story: in each bin of time the lowest and the highest value stay, where they were."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SHORTEST_GAP_S = 1800.0
GAP_STEPS = 3.0


def thinned(at_s: Array, values: Array, *, bins: int) -> tuple[Array, Array]:
    """At most two points per bin, in order of time; what is short enough comes back as it was.

    Parameters
    ----------
    at_s, values : ndarray, shape (n,)
        Moments, ascending [s], and what was measured then.
    bins : int
        Bins of equal length over the whole span.
    """
    if len(at_s) <= 2 * bins:
        return at_s, values
    edges = np.linspace(at_s[0], at_s[-1], bins + 1)
    of_bin = np.clip(np.searchsorted(edges, at_s, side="right") - 1, 0, bins - 1)
    order = np.lexsort((values, of_bin))
    starts = np.flatnonzero(np.diff(of_bin[order], prepend=-1))
    ends = np.append(starts[1:], len(order)) - 1
    keep = np.unique(np.concatenate([order[starts], order[ends], [0, len(at_s) - 1]]))
    return at_s[keep], values[keep]


def gap_s(at_s: Array) -> float:
    """How long a silence must be to count as a gap: three usual steps, half an hour at least [s]."""
    if len(at_s) < 2:
        return SHORTEST_GAP_S
    return max(GAP_STEPS * float(np.median(np.diff(at_s))), SHORTEST_GAP_S)


def gaps(at_s: Array, *, since_s: float, until_s: float, longer_s: float) -> list[tuple[float, float]]:
    """Every span of [since, until] longer than `longer_s` in which nothing was measured [s]."""
    edges = np.concatenate([[since_s], at_s[(at_s > since_s) & (at_s < until_s)], [until_s]])
    wide = np.flatnonzero(np.diff(edges) > longer_s)
    return [(float(edges[i]), float(edges[i + 1])) for i in wide]


def broken(at_s: Array, values: Array, *, longer_s: float) -> tuple[Array, Array]:
    """The same points with a break (NaN) in each gap, so that no line is drawn where nothing was measured."""
    wide = np.flatnonzero(np.diff(at_s) > longer_s)
    middle = (at_s[wide] + at_s[wide + 1]) / 2
    with_breaks: Any = np.insert(values, wide + 1, np.nan)
    return np.insert(at_s, wide + 1, middle), with_breaks
