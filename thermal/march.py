"""The loop over time: everything before it is arrays, everything in it is a few small calls per step.

Two loops for one recurrence: many columns by numpy, one column by plain numbers, which are faster than arrays of one.
"""

from dataclasses import dataclass

import numpy as np

from thermal.ranges import Array

__all__ = ["Course", "march_many", "march_one"]


@dataclass(frozen=True, slots=True)
class Course:
    """What a march needs; s steps, k kinds, w columns.

    kind: kind of each step; matrix (k, 4, 3, w): stores after a step from those before, and in the fourth row the
    heat that the stores ask for [W]; gain (k, 3, w) [K/W]; drift (s, 3, w) [K]; wanted (s, w): heat asked for by set
    point and weather [W]; low, high (s times (w,)): limits of the heat [W]; cooling: for the steps in which a heater
    is switched off, the share of its last heat that its coolant still gives.
    """

    kind: list[int]
    matrix: Array
    gain: Array
    drift: Array
    wanted: Array
    low: list[Array]
    high: list[Array]
    cooling: dict[int, Array]


def march_many(course: Course, start: Array, *, unheated: bool) -> tuple[Array, Array]:
    """Return stores (s + 1, r, 3, w) and heat (s, w); r is 2 when the path without heat is marched too, else 1."""
    dtype, width = course.drift.dtype, start.shape[1]
    both = 2 if unheated else 1
    x: Array = np.empty((len(course.kind) + 1, both, 3, width), dtype=dtype)
    heat: Array = np.empty((len(course.kind), width), dtype=dtype)
    x[0] = start
    y: Array = np.empty((both, 4, width), dtype=dtype)
    store, control = y[:, :3], y[0, 3]
    warmed: Array = np.empty((3, width), dtype=dtype)
    for s, kind in enumerate(course.kind):
        np.einsum("ijw,rjw->riw", course.matrix[kind], x[s], out=y)
        q = heat[s]
        if s in course.cooling:
            np.multiply(heat[s - 1], course.cooling[s], out=q)
        else:
            np.add(control, course.wanted[s], out=q)
            np.maximum(q, course.low[s], out=q)
            np.minimum(q, course.high[s], out=q)
        after = x[s + 1]
        np.add(store, course.drift[s], out=after)
        after[0] += np.multiply(course.gain[kind], q, out=warmed)
    return x, heat


def march_one(course: Course, start: Array) -> tuple[Array, Array]:
    """Return stores (s + 1, 1, 3, 1) and heat (s, 1) of a single column, the same numbers as `march_many` gives."""
    matrix, gain = course.matrix[..., 0].tolist(), course.gain[..., 0].tolist()
    drift, wanted = course.drift[..., 0].tolist(), course.wanted[:, 0].tolist()
    low, high = [float(v[0]) for v in course.low], [float(v[0]) for v in course.high]
    cooling = {s: float(share[0]) for s, share in course.cooling.items()}
    lining, edge, core = start[:, 0].tolist()
    path, heat, q = [(lining, edge, core)], [], 0.0
    for s, kind in enumerate(course.kind):
        row_l, row_e, row_c, row_q = matrix[kind]
        if s in cooling:
            q *= cooling[s]
        else:
            asked = row_q[0] * lining + row_q[1] * edge + row_q[2] * core + wanted[s]
            q = min(max(asked, low[s]), high[s])
        d, g = drift[s], gain[kind]
        lining, edge, core = (
            row_l[0] * lining + row_l[1] * edge + row_l[2] * core + d[0] + g[0] * q,
            row_e[0] * lining + row_e[1] * edge + row_e[2] * core + d[1] + g[1] * q,
            row_c[0] * lining + row_c[1] * edge + row_c[2] * core + d[2] + g[2] * q,
        )
        path.append((lining, edge, core))
        heat.append(q)
    return np.array(path)[:, None, :, None], np.array(heat)[:, None]
