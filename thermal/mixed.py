"""A mixed load: which of its parts sets the limits, and one load that stands for all of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from thermal.errors import Missing
from thermal.params import Load

__all__ = ["Governed", "govern"]


@dataclass(frozen=True, slots=True)
class Governed:
    """Limits of a mixed load and who sets them.

    damage_c: the highest damage limit, of `loads[damage_by]`; high_c: the lowest warm limit, of `loads[high_by]`
    (None: no part has one); empty: no temperature suits all parts; load: one load for the model, None when empty;
    edge_c, core_c: the coldest and the warmest part, for `Start`, so that both limits are judged on the part nearest
    to them [degC].
    """

    damage_c: float
    damage_by: int
    high_c: float | None
    high_by: int | None
    empty: bool
    load: Load | None
    edge_c: float
    core_c: float


def govern(loads: Sequence[Load]) -> Governed:
    """Return the limits that govern `loads` carried in one box.

    Masses add up, heat capacity and respiration are weighted by mass; freezing point and latent heat come from the
    part that freezes first; film, surface and depth come from the part that governs the cold side.

    Raises
    ------
    Missing
        No load at all.
    """
    if not loads:
        raise Missing("loads")
    indices = range(len(loads))
    damage_by = max(indices, key=lambda i: (loads[i].damage_limit_c, -i))
    limits = [(load.high_c, i) for i, load in enumerate(loads) if load.high_c is not None]
    high_c, high_by = min(limits) if limits else (None, None)
    damage_c = loads[damage_by].damage_limit_c
    empty = high_c is not None and high_c <= damage_c
    temperatures = [load.temperature_c for load in loads]
    return Governed(
        damage_c=damage_c,
        damage_by=damage_by,
        high_c=high_c,
        high_by=high_by,
        empty=empty,
        load=None if empty else _one_load(loads, loads[damage_by], damage_c=damage_c, high_c=high_c),
        edge_c=min(temperatures),
        core_c=max(temperatures),
    )


def _one_load(loads: Sequence[Load], governing: Load, *, damage_c: float, high_c: float | None) -> Load:
    mass = sum(load.mass_kg for load in loads)
    shares = [load.mass_kg / mass if mass > 0 else 1 / len(loads) for load in loads]
    first = max(loads, key=lambda load: load.freezes_c)
    return replace(
        governing,
        mass_kg=mass,
        temperature_c=sum(s * load.temperature_c for s, load in zip(shares, loads, strict=True)),
        cp_kj_kgk=sum(s * load.cp_kj_kgk for s, load in zip(shares, loads, strict=True)),
        respiration_w_kg=sum(s * load.respiration_w_kg for s, load in zip(shares, loads, strict=True)),
        freezes_c=first.freezes_c,
        latent_kj_kg=first.latent_kj_kg,
        damage_c=damage_c,
        high_c=high_c,
    )
