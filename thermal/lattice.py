"""The fixed set of worlds a score is taken over: 512 points of a scrambled Sobol sequence in 14 normals.

`worlds.npy` was made once, with scipy 1.17, and is shipped so that the service needs no scipy::

    scipy.special.ndtri(scipy.stats.qmc.Sobol(14, seed=5).random(512))

The first 128 points are a balanced set of their own; the 512 are taken when those 128 are not enough. A test makes
the table again. Equal inputs give equal scores because the worlds never change.
"""

from functools import lru_cache
from pathlib import Path

import numpy as np

from thermal.ranges import Array

__all__ = ["DIMENSIONS", "FULL", "SCREEN", "USUAL", "normals"]

# Which coordinate drives what: the first coordinates are the best spread, so the strongest factors come first.
DIMENSIONS = (
    "k", "mode1", "output", "load", "mode2", "damage", "film", "mode3", "mode4", "mode5", "mode6", "mode7", "mode8",
    "tail",
)  # fmt: skip
SCREEN = 32
USUAL = 128
FULL = 512


@lru_cache(maxsize=1)
def normals() -> Array:
    """Return the table, shape (14, 512), read-only."""
    table: Array = np.load(Path(__file__).with_name("worlds.npy")).T
    table = np.ascontiguousarray(table)
    table.setflags(write=False)
    return table


def coordinate(name: str, points: slice) -> Array:
    """Return the normal deviates of one factor for a slice of the worlds, shape (n,)."""
    return normals()[DIMENSIONS.index(name), points]


def mode_coordinates(points: slice) -> Array:
    """Return the normal deviates of the eight forecast modes, shape (8, n)."""
    return normals()[[DIMENSIONS.index(f"mode{i}") for i in range(1, 9)], points]
