"""Ice in the load: a layer stays at its freezing point while its latent heat is withdrawn or given back."""

from __future__ import annotations

import numpy as np

from fleet.simulator.network import EDGE, Chain
from fleet.simulator.quantities import Floats, Load


class Freezing:
    """Latent heat withdrawn so far from each layer of n loads [J], shape (layers, n).

    After each step the sensible heat by which a layer undercuts its freezing point is booked as ice, until
    all of the layer's water is frozen; heat above the freezing point melts ice first. The heat balance
    stays exact.
    """

    def __init__(self, chain: Chain, load: Load) -> None:
        self.ice_j = np.zeros_like(chain.capacity[EDGE:])
        self.freezes_c = load.freezes_c.copy()
        self.most_j = chain.capacity[EDGE:] * (load.latent_kj_kg / load.cp_kj_kgk)

    def hold(self, temps: Floats, chain: Chain) -> None:
        """Move heat between temperature and ice in place; `temps` has shape (stores, n)."""
        layers = temps[EDGE:]
        touched = (layers < self.freezes_c) | (self.ice_j > 0.0)
        if not touched.any():
            return
        columns = np.flatnonzero(touched.any(axis=0))
        capacity = chain.capacity[EDGE:, columns]
        short = (self.freezes_c[columns] - layers[:, columns]) * capacity
        ice = np.clip(self.ice_j[:, columns] + short, 0.0, self.most_j[:, columns])
        layers[:, columns] += (ice - self.ice_j[:, columns]) / capacity
        self.ice_j[:, columns] = ice
