"""The commodity table: what each kind of goods stands, where every number comes from, and what is refused.

The data live in `commodities.csv` beside this file; a cell is ``number|source|how well known``. The sources
are spelled out in `commodity_sources.csv` and, with the reasoning, in docs/commodities.md. Free text is
matched in `thermal.goods`.
"""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import ClassVar

from thermal.errors import ThermalError

__all__ = [
    "HAZARDS",
    "SOURCES",
    "ChillRule",
    "Commodity",
    "HazardousLoad",
    "Known",
    "Origin",
    "UnknownCommodity",
    "all_commodities",
    "commodity",
]

TABLE = Path(__file__).with_name("commodities.csv")
SOURCE_TABLE = Path(__file__).with_name("commodity_sources.csv")

HIGHEST_GUARD_K = 1.0
"""Distance [K] a set point keeps above the damage limit where the published carrying range leaves room for
it."""

HAZARDS: Mapping[str, str] = MappingProxyType(
    {
        "solvent-paint": "paint with solvent is a flammable liquid, Class 3",
        "solvent-adhesive": "adhesive with solvent is a flammable liquid, Class 3",
        "solvent": "solvents and thinners are flammable liquids, Class 3",
        "varnish": "varnish and lacquer are flammable liquids, Class 3",
        "paint": "the class is not stated: paint is either water-based or a flammable liquid, Class 3",
        "adhesive": "the class is not stated: adhesive is either water-based or a flammable liquid, Class 3",
    }
)

SOURCES: Mapping[str, str] = MappingProxyType(
    {row["source"]: row["what"] for row in csv.DictReader(SOURCE_TABLE.read_text("utf-8").splitlines())}
)
"""What each source of the table is, by its short name."""


class HazardousLoad(ThermalError):
    """Goods that are, or may be, dangerous: refused, because heat around them needs rules this service
    lacks."""

    code: ClassVar[str] = "hazardous-load"


class UnknownCommodity(ThermalError):
    """No such goods in the table. Limits are never borrowed from something that sounds alike."""

    code: ClassVar[str] = "unknown-commodity"


class ChillRule(StrEnum):
    """What passing the damage limit means."""

    INSTANT = "instant"
    HOURS = "hours"


class Known(StrEnum):
    """How well a number is known."""

    READ = "read"
    COMPUTED = "computed"
    MEMORY = "memory"
    CHOICE = "choice"


@dataclass(frozen=True, slots=True)
class Origin:
    """Where one number of the table comes from: a key of `SOURCES`, and how well it is known."""

    source: str
    known: Known


@dataclass(frozen=True, slots=True, kw_only=True)
class Commodity:
    """One kind of goods. A number that nobody published is None, never a guess.

    Attributes
    ----------
    key, name, kind : str
        Stable key, name to show, and group (fruit, vegetable, dairy, meat, drink, industrial, pharma,
        plant, dry).
    water : float or None
        Water as a share of the mass [-].
    freezes_c : float or None
        First ice [°C]; the highest of the published values.
    chill_c : float or None
        Limit above freezing below which the goods are harmed [°C].
    chill_rule : ChillRule
        `hours`: below `chill_c` for `chill_hours` is loss. `instant`: once is loss. Ice is always instant.
    chill_hours : float or None
        Hours below `chill_c` that are still accepted [h]; a choice of this project.
    carry_low_c, carry_high_c : float or None
        Carrying range to keep [°C].
    high_c : float or None
        Warm limit of the goods [°C], used by the score; most are choices of this project.
    cp_kj_kgk, latent_kj_kg : float or None
        Heat capacity above freezing [kJ/kgK], latent heat [kJ/kg].
    respiration_w_kg : float or None
        Heat of respiration at the cool end of the range [W/kg]; leaving it out is cautious on the cold side.
    no_heat_needed : bool
        Dry goods: the heat checks do not apply, and every limit is None.
    aliases : tuple of str
        Lower-case phrases `thermal.goods.classify_goods` accepts.
    note : str
        What a reader should know, above all where sources disagree.
    origins : mapping of str to Origin
        For every number that is given, by field name.
    """

    key: str
    name: str
    kind: str
    water: float | None
    freezes_c: float | None
    chill_c: float | None
    chill_rule: ChillRule
    chill_hours: float | None
    carry_low_c: float | None
    carry_high_c: float | None
    high_c: float | None
    cp_kj_kgk: float | None
    latent_kj_kg: float | None
    respiration_w_kg: float | None
    no_heat_needed: bool
    aliases: tuple[str, ...]
    note: str
    origins: Mapping[str, Origin]

    @property
    def damage_c(self) -> float | None:
        """Cold limit of the score [°C]: the higher of freezing point and chill limit; None for dry goods."""
        limits = [limit for limit in (self.freezes_c, self.chill_c) if limit is not None]
        return max(limits, default=None)

    @property
    def guard_k(self) -> float | None:
        """Distance [K] to keep above `damage_c`: 1 K, or less where the published range itself is closer.

        Apples, blueberries, cherries and peaches are held within a kelvin of freezing; one guard for all
        would refuse the range they are carried at.
        """
        if self.damage_c is None or self.carry_low_c is None:
            return None
        return min(HIGHEST_GUARD_K, self.carry_low_c - self.damage_c)


def all_commodities() -> tuple[Commodity, ...]:
    """Every row of the table, in its order."""
    return tuple(_table().values())


def commodity(key: str) -> Commodity:
    """Row of that key.

    Raises
    ------
    HazardousLoad
        The key stands for dangerous goods, or for goods whose class is not stated.
    UnknownCommodity
        No such key.

    Examples
    --------
    >>> commodity("banana").damage_c
    13.0
    """
    if key in HAZARDS:
        raise HazardousLoad(HAZARDS[key], field="commodity", value=key)
    if key not in _table():
        raise UnknownCommodity(f"no commodity {key!r}", field="commodity", value=key)
    return _table()[key]


@cache
def _table() -> Mapping[str, Commodity]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = [_commodity(row) for row in csv.DictReader(file)]
    return MappingProxyType({row.key: row for row in rows})


NUMBERS = (
    "freezes_c",
    "chill_c",
    "chill_hours",
    "carry_low_c",
    "carry_high_c",
    "high_c",
    "cp_kj_kgk",
    "latent_kj_kg",
    "respiration_w_kg",
)


def _commodity(row: Mapping[str, str]) -> Commodity:
    cells = {name: _cell(row[name]) for name in ("water_pct", *NUMBERS)}
    numbers = {name: cell[0] if cell else None for name, cell in cells.items()}
    water_pct = numbers.pop("water_pct")
    origins = {name.replace("water_pct", "water"): cell[1] for name, cell in cells.items() if cell}
    return Commodity(
        key=row["key"],
        name=row["name"],
        kind=row["kind"],
        water=None if water_pct is None else water_pct / 100.0,
        chill_rule=ChillRule(row["chill_rule"]),
        no_heat_needed=row["no_heat_needed"] == "yes",
        aliases=tuple(phrase for phrase in row["aliases"].split(";") if phrase),
        note=row["note"],
        origins=MappingProxyType(origins),
        **numbers,
    )


def _cell(text: str) -> tuple[float, Origin] | None:
    if not text:
        return None
    number, source, known = text.split("|")
    return float(number), Origin(source, Known(known))
