"""One time step of the chain of heat stores: linear-implicit, second order, damped for fast stores.

The air of a box answers within a minute, the load within days. A two-stage diagonally implicit scheme
(gamma = 1 - 1/sqrt 2) stays stable at any step, forgets fast modes instead of letting them ring, and keeps
the heat balance exact: what the stores gain is what the stages took in and gave off, to rounding.
"""

from __future__ import annotations

import numpy as np

from fleet.simulator.network import AIR, Chain
from fleet.simulator.quantities import Floats, Ints

GAMMA = 1.0 - np.sqrt(0.5)


class Integrator:
    """Steps a chain by a fixed step; keeps the factors of its tridiagonal system and renews what changed."""

    def __init__(self, chain: Chain, *, step_s: float) -> None:
        self.chain = chain
        self.step_s = step_s
        self.door = np.zeros(chain.capacity.shape[1])
        self.inertia = np.empty_like(chain.capacity)
        self.pivot = np.empty_like(chain.capacity)
        self.ratio = np.zeros_like(chain.capacity)
        self.factor(np.arange(chain.capacity.shape[1]))

    def factor(self, columns: Ints) -> None:
        """Renew the factors of the given worlds after their chain or their door changed."""
        chain, last = self.chain, len(self.chain.capacity) - 1
        inertia = chain.capacity[:, columns] / (GAMMA * self.step_s)
        self.inertia[:, columns] = inertia
        diagonal = inertia + chain.leak[:, columns]
        diagonal[AIR] += self.door[columns]
        link = chain.link[:, columns]
        diagonal[:-1] += link
        diagonal[1:] += link
        self.pivot[0, columns] = 1.0 / diagonal[0]
        for i in range(1, last + 1):
            ratio = link[i - 1] * self.pivot[i - 1, columns]
            self.ratio[i, columns] = ratio
            self.pivot[i, columns] = 1.0 / (diagonal[i] - link[i - 1] * ratio)

    def set_door(self, conductance: Floats) -> None:
        """Take the door conductances of this step [W/K], shape (n,)."""
        changed = np.flatnonzero(conductance != self.door)
        if len(changed):
            self.door[changed] = conductance[changed]
            self.factor(changed)

    def solve(self, right: Floats) -> Floats:
        """Return the solution of the implicit system, overwriting its right-hand side (stores, n)."""
        last = len(right) - 1
        for i in range(1, last + 1):
            right[i] += self.ratio[i] * right[i - 1]
        right[last] *= self.pivot[last]
        for i in range(last - 1, -1, -1):
            right[i] += self.chain.link[i] * right[i + 1]
            right[i] *= self.pivot[i]
        return right

    def advance(self, temps: Floats, *, heat_w: Floats, ambient_c: Floats) -> tuple[Floats, Floats]:
        """Return the temperatures after one step and the heat lost to the ambient during it.

        Parameters
        ----------
        temps : ndarray, shape (stores, n)
            Temperatures at the start of the step [degC].
        heat_w, ambient_c : ndarray, shape (n,)
            Mean heat put into the air [W] and mean ambient of the step [degC].

        Returns
        -------
        temps : ndarray, shape (stores, n) [degC]
        lost : ndarray, shape (n,) [J]
        """
        chain = self.chain
        given = chain.source + chain.leak * ambient_c
        given[AIR] += heat_w + self.door * ambient_c
        first = self.solve(self.inertia * temps + given)
        start = temps + (first - temps) * ((1.0 - GAMMA) / GAMMA)
        second = self.solve(self.inertia * start + given)
        mean = (1.0 - GAMMA) * first + GAMMA * second
        lost = (chain.leak * (mean - ambient_c)).sum(axis=0) + self.door * (mean[AIR] - ambient_c)
        return second, lost * self.step_s
