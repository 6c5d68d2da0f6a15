"""The box as a chain of heat stores: lining, air, edge of the load, then inner layers of the load.

Every store may leak to the ambient; the door leaks from the air. The chain with one inner layer is the plain
edge-and-core load; with more layers the resistances are divided so that over the hours that matter the edge
sees the inner layers through the same conductance k A / d, which keeps the two comparable.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.simulator.errors import SimulatorError
from fleet.simulator.quantities import Box, Floats, Load

LINING, AIR, EDGE = 0, 1, 2
AIR_J_M3K = 1256.0  # heat capacity of air per volume: 1.25 kg/m3 times 1005 J/(kg K)
LARGEST_AGEING = 1.4  # assumption: foam does not lose more than 40 % by age


@dataclass(slots=True)
class Chain:
    """Stores and conductances; first axis the store, second the world. Columns change when a load changes.

    Attributes
    ----------
    capacity : ndarray, shape (stores, n) [J/K]
    link : ndarray, shape (stores - 1, n), between store i and i + 1 [W/K]
    leak : ndarray, shape (stores, n), to the ambient, doors shut [W/K]
    source : ndarray, shape (stores, n), heat made inside the store [W]
    """

    capacity: Floats
    link: Floats
    leak: Floats
    source: Floats

    def put(self, columns: Floats, other: Chain) -> None:
        """Replace the given worlds (integer positions) by those of another chain."""
        for mine, new in zip(self.arrays(), other.arrays(), strict=True):
            mine[:, columns] = new

    def arrays(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Return the four arrays in a fixed order."""
        return self.capacity, self.link, self.leak, self.source


def loss_conductance(box: Box) -> Floats:
    """Return K S with age and motion: heat lost per kelvin from inside to outside [W/K], shape (n,)."""
    ageing = np.minimum(1.0 + box.ageing_per_y * box.age_y, LARGEST_AGEING)
    return box.k_w_m2k * box.area_m2 * ageing * box.moving_factor


def build_chain(box: Box, load: Load, *, inner: int = 3) -> Chain:
    """Return the chain of stores for boxes with their loads.

    Parameters
    ----------
    box, load : Box, Load
        Arrays of shape (n,).
    inner : int
        Inner layers of the load behind its edge, at least 1.

    Raises
    ------
    SimulatorError
        When the wall's resistance is not larger than the film inside it.
    """
    if inner < 1:
        raise SimulatorError(f"inner layers: at least 1, got {inner}")
    size = load.mass_kg / load.full_mass_kg
    whole = loss_conductance(box)
    touching = box.contact_share * whole * np.minimum(1.0, size) ** (2 / 3)
    film = box.lining_film_w_m2k * box.area_m2
    if np.any(film <= whole - touching):
        raise SimulatorError("box: the wall's resistance must exceed the inside film's")
    behind_film = 1.0 / (1.0 / (whole - touching) - 1.0 / film)

    n, stores = len(whole), EDGE + 1 + inner
    capacity, leak, source = np.empty((stores, n)), np.zeros((stores, n)), np.zeros((stores, n))
    share = np.vstack([load.edge_share, np.tile((1.0 - load.edge_share) / inner, (inner, 1))])
    capacity[LINING] = box.lining_kj_m2k * 1e3 * box.area_m2
    capacity[AIR] = AIR_J_M3K * box.volume_m3
    # An empty box keeps its load stores, cut off and with a token capacity, so that nothing divides by zero.
    capacity[EDGE:] = np.where(load.mass_kg > 0, share * load.mass_kg * load.cp_kj_kgk * 1e3, 1.0)
    leak[LINING], leak[EDGE] = behind_film, touching
    source[EDGE:] = share * load.mass_kg * load.respiration_w_kg
    link = np.vstack([film, load_links(load, size, inner)])
    return Chain(capacity=capacity, link=link, leak=leak, source=source)


def load_links(load: Load, size: Floats, inner: int) -> Floats:
    """Return the conductances air-edge, edge-first layer, between inner layers [W/K], shape (inner + 1, n).

    Notes
    -----
    Let R be the resistance between neighbouring inner layers and R1 the one from the edge's middle to the
    first inner layer's middle; R1/R is the ratio of the distances between the middles of slabs as thick as
    their mass. Just after the edge begins to cool it sees the inner layers through R1 alone. When all of
    them cool at one rate, layer j passes (N - j)/N of the flow inwards, and their mean lies R1 + R (N -
    1)(2N - 1)/(6N) behind the edge. Losses of heat last from hours to a day, between the two: half of the
    difference is set equal to d/(k A) (assumption; picked with the four worked cases in view). One inner
    layer gives R1 = d/(k A) exactly.
    """
    surface = load.full_area_m2 * size ** (2 / 3)
    depth = load.full_depth_m * np.cbrt(size)
    one_layer = (1.0 - load.edge_share) / inner
    first = (load.edge_share + one_layer) / 2.0 / one_layer if inner > 1 else np.ones_like(one_layer)
    spread = (inner - 1) * (2 * inner - 1) / (12.0 * inner)
    with np.errstate(divide="ignore", invalid="ignore"):
        bulk = np.where(size > 0, load.bulk_w_mk * surface / depth, 0.0)
    between = bulk * (first + spread)
    rows = [load.edge_film_w_m2k * surface, between / first, *([between] * (inner - 1))]
    return np.vstack(rows)
