"""The exact step: how the three stores move over a time step while heat, ambient and doors are held.

`x' = A x + b` with `x = [lining, edge, core]`. The chain is similar to a symmetric matrix, so its eigenvalues are
real and negative and come from the trigonometric formula; `exp(A dt)` follows by Newton's divided differences. The
response to each held input is `(I - M)` times the state it would settle to, which makes every step conserve energy
exactly.
"""

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from thermal.box import Network
from thermal.ranges import Array

__all__ = ["Modes", "Steps", "modes_of", "propagator", "steps_of"]

Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Modes:
    """Chain matrix of door states: `a` and its square `a2` (3, 3, d, w) and eigenvalues `rates` (3, d, w) ascending
    [1/s]."""

    a: Array
    a2: Array
    rates: Array
    door: Array

    def cast(self, dtype: type) -> "Modes":
        """Return the same in another precision; the steps made of it have it too."""
        return Modes(*(getattr(self, f.name).astype(dtype, copy=False) for f in fields(self)))


@dataclass(frozen=True, slots=True)
class Steps:
    """Exact steps of kinds (k) for columns (w): `x1 = m x0 + heat Q + ambient T_amb + own`.

    m (3, 3, k, w); heat (3, k, w) [K/W]; ambient (3, k, w) [-]; own (3, k, w) [K], the load's own heat.
    """

    m: Array
    heat: Array
    ambient: Array
    own: Array


def modes_of(net: Network, door: Array) -> Modes:
    """Return the chain matrix and its eigenvalues for door conductances `door` [W/K], shape (d, w).

    Notes
    -----
    Eigenvalues of the symmetrised chain by the trigonometric formula for a symmetric 3x3 matrix
    (O. K. Smith, Comm. ACM 4, 1961, p. 168, from memory; checked against numpy's eigenvalues in the tests).
    """
    total = net.film + net.edge + door
    zero = np.zeros_like(total)
    a_ll = -(net.film + net.shell - net.film**2 / total) / net.c_lining
    a_ee = -(net.edge + net.bulk + net.wall - net.edge**2 / total) / net.c_edge
    a_cc = -net.bulk / net.c_core + zero
    link = net.film * net.edge / total
    a = np.array(
        [
            [a_ll, link / net.c_lining, zero],
            [link / net.c_edge, a_ee, net.bulk / net.c_edge + zero],
            [zero, net.bulk / net.c_core + zero, a_cc],
        ]
    )
    s1 = a[0, 1] * a[1, 0]
    s2 = a[1, 2] * a[2, 1]
    mean = (a_ll + a_ee + a_cc) / 3
    d1, d2, d3 = a_ll - mean, a_ee - mean, a_cc - mean
    p = np.sqrt((d1 * d1 + d2 * d2 + d3 * d3 + 2 * (s1 + s2)) / 6)
    det = (d1 * (d2 * d3 - s2) - s1 * d3) / (2 * p**3)
    angle = np.arccos(np.minimum(1.0, np.maximum(-1.0, det))) / 3
    top = mean + 2 * p * np.cos(angle)
    low = mean + 2 * p * np.cos(angle + 2 * np.pi / 3)
    rates = np.array([low, 3 * mean - top - low, top])
    return Modes(a=a, a2=_square(a), rates=rates, door=door)


def _square(a: Array) -> Array:
    """Return the square of the chain matrix; the corners of `a` are zero."""
    (a00, a01, _), (a10, a11, a12), (_, a21, a22) = a
    cross1, cross2 = a01 * a10, a12 * a21
    return np.array(
        [
            [a00 * a00 + cross1, a01 * (a00 + a11), a01 * a12],
            [a10 * (a00 + a11), cross1 + a11 * a11 + cross2, a12 * (a11 + a22)],
            [a21 * a10, a21 * (a11 + a22), cross2 + a22 * a22],
        ]
    )


def propagator(modes: Modes, door: Index, dt_s: Array, *, row: int | None = None) -> Array:
    """Return `exp(A dt)` for step kinds with door state `door` (k,) and length `dt_s` (k,), above zero [s].

    Shape (3, 3, k, w), or (3, k, w) when only one `row` is wanted.

    Notes
    -----
    `exp(A dt) = c0 I + c1 A dt + c2 (A dt)^2`, the coefficients from Newton's divided differences of exp at the three
    eigenvalues.
    """
    dt_s = dt_s.astype(modes.rates.dtype, copy=False)
    l1, l2, l3 = modes.rates[:, door] * dt_s[:, None]
    f12 = _slope(l1, l2)
    c2 = (_slope(l2, l3) - f12) / (l3 - l1)
    c1 = (f12 - c2 * (l1 + l2)) * dt_s[:, None]
    c0 = np.exp(l1) - f12 * l1 + c2 * l1 * l2
    c2 = c2 * (dt_s**2)[:, None]
    rows = slice(None) if row is None else slice(row, row + 1)
    a, a2 = modes.a[rows], modes.a2[rows]
    m: Array = np.empty((len(a), 3, *c0.shape), dtype=c0.dtype)
    for first, end in _runs(door):
        part, state = m[:, :, first:end], door[first]
        np.multiply(a[:, :, state, None], c1[first:end], out=part)
        part += a2[:, :, state, None] * c2[first:end]
    for i in range(len(a)):
        m[i, i if row is None else row] += c0
    return m if row is None else m[0]


def _runs(door: Index) -> list[tuple[int, int]]:
    """Return where runs of one door state begin and end; the kinds of a grid come sorted by it."""
    edges = [0, *(np.flatnonzero(np.diff(door)) + 1).tolist(), len(door)]
    return list(pairwise(edges))


def steps_of(net: Network, modes: Modes, door: Index, dt_s: Array) -> Steps:
    """Return the exact steps of kinds with door state `door` (indices, shape (k,)) and length `dt_s` [s], shape
    (k,)."""
    m = propagator(modes, door, dt_s)
    heat, own = (state.astype(m.dtype, copy=False) for state in _settled(net, modes.door))
    rest = np.eye(3, dtype=m.dtype)[:, :, None, None] - m
    warm = bool(net.heat_edge.any() or net.heat_core.any())
    return Steps(
        m=m,
        heat=np.einsum("ij...,j...->i...", rest, heat[:, door]),
        ambient=rest.sum(axis=1),
        own=np.einsum("ij...,j...->i...", rest, own[:, door]) if warm else np.zeros_like(m[0]),
    )


def _slope(a: Array, b: Array) -> Array:
    """Return the divided difference of exp between a and b, `(e^b - e^a)/(b - a)`, also where they almost meet."""
    gap = b - a
    small = gap < 1e-8
    if not small.any():
        return np.exp(b) * (-np.expm1(-gap) / gap)
    safe = np.where(small, 1.0, gap)
    return np.exp(b) * np.where(small, 1.0 - gap / 2, -np.expm1(-safe) / safe)


def _settled(net: Network, door: Array) -> tuple[Array, Array]:
    """Return the state above ambient that one watt of heat, and the load's own heat, settle to; (3, d, w) each."""
    through = net.film * net.shell / (net.film + net.shell)
    around = net.edge * net.wall / (net.edge + net.wall)
    air = 1.0 / (through + around + door)
    lining_of_air = net.film / (net.film + net.shell)
    edge = air * net.edge / (net.edge + net.wall)
    heat = np.array([air * lining_of_air, edge, edge])
    load_heat = net.heat_edge + net.heat_core
    out = 1.0 / (1.0 / net.edge + 1.0 / (through + door))
    warm_edge = load_heat / (net.wall + out)
    warm_air = warm_edge * net.edge / (net.edge + through + door)
    own = np.array([warm_air * lining_of_air, warm_edge, warm_edge + net.heat_core / net.bulk])
    return heat, own
