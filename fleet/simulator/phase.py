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
        self.chain = chain
        self.ice_j = np.zeros_like(chain.capacity[EDGE:])
        self.freezes_c = load.freezes_c.copy()
        self.most_j = np.empty_like(self.ice_j)
        for unit in range(len(self.freezes_c)):
            self.renew(unit, load)

    def renew(self, unit: int, load: Load) -> None:
        """Begin anew for one unit whose load was exchanged; the ice goes with the old load."""
        inner = len(self.ice_j) - 1
        edge = load.edge_share[unit]
        shares = np.array([edge, *[(1.0 - edge) / inner] * inner])
        self.most_j[:, unit] = load.mass_kg[unit] * load.latent_kj_kg[unit] * 1e3 * shares
        self.freezes_c[unit] = load.freezes_c[unit]
        self.ice_j[:, unit] = 0.0

    def lighten(self, unit: int, left: float) -> None:
        """Take a part of one unit's load out, with its share of the ice; *left* is the share that stays."""
        self.most_j[:, unit] *= left
        self.ice_j[:, unit] *= left

    def hold(self, temps: Floats, chain: Chain) -> None:
        """Move heat between temperature and ice in place; `temps` has shape (stores, n)."""
        layers = temps[EDGE:]
        touched = ((layers < self.freezes_c) & (self.most_j > 0.0)) | (self.ice_j > 0.0)
        if not touched.any():
            return
        columns = np.flatnonzero(touched.any(axis=0))
        capacity = chain.capacity[EDGE:, columns]
        short = (self.freezes_c[columns] - layers[:, columns]) * capacity
        ice = np.clip(self.ice_j[:, columns] + short, 0.0, self.most_j[:, columns])
        layers[:, columns] += (ice - self.ice_j[:, columns]) / capacity
        self.ice_j[:, columns] = ice
