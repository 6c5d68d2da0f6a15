"""The box as a network of three heat stores: lining (with the air's heat), edge of the load, core of the load.

The air itself is algebraic: its time constant is about a minute. Temperatures degC, conductances W/K, heat stores
J/K.
"""

from dataclasses import dataclass

import numpy as np

from thermal.columns import Columns
from thermal.params import Load
from thermal.ranges import Array

__all__ = ["Network", "air_c", "door_w_k", "network"]

# An empty box keeps two stores that touch nothing, so that the same three equations hold.
DUMMY_W_K = 1e-6
DUMMY_J_K = 1.0


@dataclass(frozen=True, slots=True)
class Network:
    """Conductances [W/K], heat stores [J/K] and the load's own heat [W] of columns; all shapes (w,).

    ua: shell in total; wall: edge of the load to ambient through the shell it touches; film: air to lining; shell:
    lining to ambient; edge: air to edge; bulk: edge to core.
    """

    ua: Array
    wall: Array
    film: Array
    shell: Array
    edge: Array
    bulk: Array
    c_lining: Array
    c_edge: Array
    c_core: Array
    heat_edge: Array
    heat_core: Array

    @property
    def air_sum(self) -> Array:
        """Conductance that the air meets with shut doors: film + edge."""
        return self.film + self.edge


def network(columns: Columns, load: Load | None, *, edge_film: Array | float = 1.0) -> Network:
    """Return the network of each column carrying `load` (None or zero mass: an empty box).

    Parameters
    ----------
    columns : Columns
        Units, or units in sampled worlds.
    load : Load or None
        What is carried.
    edge_film : ndarray, shape (w,), or float
        Factor on the film of the load's edge (sampled worlds) [-].

    Notes
    -----
    `Uw = contact UA min(1, m/m_full)^(2/3)`: a small load touches less wall. `1/shell = 1/(UA - Uw) - 1/film`, so
    lining film and shell in series pass exactly `UA - Uw`. Exposed area grows as m^(2/3), depth as m^(1/3).
    """
    ua = columns.ua_full
    one = np.ones_like(ua)
    mass = 0.0 if load is None else load.mass_kg
    if load is None or mass == 0.0:
        wall, dummy, store = 0.0 * one, DUMMY_W_K * one, DUMMY_J_K * one
        edge, bulk, c_edge, c_core, heat = dummy, dummy, store, store, 0.0 * one
        heat_core = heat
    else:
        share = mass / load.full_mass_kg
        area = load.full_area_m2 * share ** (2 / 3)
        wall = columns.contact * ua * min(1.0, share ** (2 / 3))
        edge = load.edge_film_w_m2k * area * edge_film * one
        bulk = load.bulk_w_mk * area / (load.full_depth_m * share ** (1 / 3)) * one
        store_all = mass * load.cp_kj_kgk * 1e3
        c_edge, c_core = load.edge_share * store_all * one, (1 - load.edge_share) * store_all * one
        heat = load.respiration_w_kg * load.edge_share * mass * one
        heat_core = load.respiration_w_kg * (1 - load.edge_share) * mass * one
    film = columns.lining_film
    # A sampled world with a very poor shell must still leave a wall behind the film.
    through = np.minimum(ua - wall, 0.98 * film)
    return Network(
        ua=ua,
        wall=wall,
        film=film,
        shell=1 / (1 / through - 1 / film),
        edge=edge,
        bulk=bulk,
        c_lining=columns.lining_j_k + columns.air_j_k,
        c_edge=c_edge,
        c_core=c_core,
        heat_edge=heat,
        heat_core=heat_core,
    )


def door_w_k(columns: Columns, *, span_k: Array | float, open_share: float) -> Array:
    """Return the conductance of the open doorway between air and ambient, W/K, shape (w,).

    Parameters
    ----------
    columns : Columns
        Units.
    span_k : ndarray or float
        Temperature difference that drives the exchange, held for the whole stop; at least 1 K [K].
    open_share : float
        Share of the stop that the doors are open [-].

    Notes
    -----
    Gosney & Olama (1975) as printed in the ASHRAE infiltration text, without its density factor (0.96-0.97 for the
    differences met here), which the doorway factor `door_flow` absorbs.
    """
    return columns.door_w_k_per_sqrt_k * np.sqrt(np.maximum(span_k, 1.0)) * open_share


def air_c(net: Network, x: Array, heat: Array | float, *, door: Array | float, ambient: Array | float) -> Array:
    """Return the air temperature, degC, from the stores `x` (shape (3, ..., w)) and the delivered heat [W].

    `T_a = (Q + film T_l + edge T_e + door T_amb) / (film + edge + door)`.
    """
    total = net.film + net.edge + door
    air: Array = (heat + net.film * x[0] + net.edge * x[1] + door * ambient) / total
    return air
