"""Keeps fleet's built-in commodity rows equal to the table of `thermal.commodities`."""

from __future__ import annotations

from fleet.models import Commodity
from thermal.commodities import HAZARDS, SOURCES, ChillRule, all_commodities
from thermal.commodities import Commodity as Known

STATE_CLASS = frozenset({"latex-paint", "water-based-adhesive"})
"""Goods with a dangerous twin: the load has to say that it is none."""
FIELDS = (
    "name",
    "freezes_c",
    "chill_c",
    "chill_hours",
    "low_c",
    "high_c",
    "cp_kj_kgk",
    "latent_kj_kg",
    "respiration_w_kg",
    "no_heat_needed",
    "hazard",
    "source",
)


def sync_commodities() -> int:
    """Writes every row of the table as a built-in commodity; returns how many. Safe to run at every start."""
    rows = [_row(known) for known in all_commodities()] + [_refused(key, why) for key, why in HAZARDS.items()]
    # One read, one insert, one update: the partial unique index rules out a conflict clause.
    known = {row.key: row for row in Commodity.objects.across_fleets().filter(fleet__isnull=True)}
    new = [row for row in rows if row.key not in known]
    changed = []
    for row in rows:
        old = known.get(row.key)
        if old is not None and any(getattr(old, name) != getattr(row, name) for name in FIELDS):
            row.pk = old.pk
            changed.append(row)
    Commodity.objects.bulk_create(new)
    Commodity.objects.across_fleets().bulk_update(changed, FIELDS)
    return len(rows)


def _row(known: Known) -> Commodity:
    return Commodity(
        key=known.key,
        name=known.name,
        freezes_c=known.freezes_c,
        chill_c=known.chill_c,
        chill_hours=known.chill_hours if known.chill_rule is ChillRule.HOURS else 0.0 if known.chill_c else None,
        low_c=known.carry_low_c,
        high_c=known.high_c,
        cp_kj_kgk=known.cp_kj_kgk,
        latent_kj_kg=known.latent_kj_kg,
        respiration_w_kg=known.respiration_w_kg or 0.0,
        no_heat_needed=known.no_heat_needed,
        hazard="must_state" if known.key in STATE_CLASS else "none",
        source=_sources(known),
    )


def _sources(known: Known) -> str:
    """How each number is known: `freezes_c: read, ASHRAE ...`."""
    parts = [
        f"{name}: {origin.known}, {SOURCES.get(origin.source, origin.source)}"
        for name, origin in sorted(known.origins.items())
    ]
    return "; ".join(parts + ([known.note] if known.note else []))


def _refused(key: str, why: str) -> Commodity:
    return Commodity(key=key, name=key.replace("-", " ").capitalize(), hazard="refused", source=why)
