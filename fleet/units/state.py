"""The state row of a unit: what readings told and what other apps contributed, and the lock that goes with it.

Beside `fleet.units.told`, the only writer of `UnitState`. Every writer locks the rows first, in ascending unit id;
that lock is what makes assignment, faults and readings of one unit take turns.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

import orjson
from django.db import connection

from fleet.clock import stamp
from fleet.measured import Entry
from fleet.models import UnitState


def lock_states(unit_ids: Iterable[int]) -> dict[int, UnitState]:
    """The state rows of these units, locked until the transaction ends, in ascending order."""
    rows = (
        UnitState.objects.across_fleets()
        .select_for_update(of=("self",) if connection.features.has_select_for_update_of else ())
        .filter(unit_id__in=sorted(set(unit_ids)))
        .order_by("unit_id")
    )
    return {row.unit_id: row for row in rows}


def fold(known: dict[str, Entry], name: str, value: Any, *, at: str, source: str) -> bool:
    """Takes one value into *known* if it is the newest of its name by (at, source); says whether it changed."""
    entry = known.get(name)
    if entry is not None and (at, source) <= (entry[1], entry[2]):
        return False
    known[name] = [value, at, source]
    return True


def save_facts(states: Sequence[UnitState]) -> None:
    """Writes the facts of locked rows back in one statement and moves their versions."""
    if not states:
        return
    rows = orjson.dumps([{"unit_id": state.unit_id, "facts": state.facts} for state in states]).decode()
    with connection.cursor() as cursor:
        cursor.execute(_SAVE_FACTS[connection.vendor], [rows])


_SAVE_FACTS = {
    "postgresql": """
        UPDATE fleet_unitstate AS s SET facts = n.facts, version = s.version + 1
          FROM jsonb_to_recordset(%s::jsonb) AS n(unit_id bigint, facts jsonb)
         WHERE s.unit_id = n.unit_id""",
    "sqlite": """
        UPDATE fleet_unitstate AS s SET facts = n.facts, version = s.version + 1
          FROM (SELECT json_extract(value, '$.unit_id') AS unit_id, json_extract(value, '$.facts') AS facts
                  FROM json_each(%s)) AS n
         WHERE s.unit_id = n.unit_id""",
}


def record_facts(facts_of: Mapping[int, Mapping[str, Any]], *, at: datetime, source: str) -> None:
    """Contributes facts to units: {unit id: {name: value}}. Newest wins; each unit's version moves.

    For facts recomputed from rows (open alarms, newest inspection) pass the moment of the computation: callers hold
    the state lock, so a later computation always carries a later moment. Call inside a transaction.
    """
    states = lock_states(facts_of)
    text = stamp(at)
    changed = []
    for unit_id, facts in facts_of.items():
        state = states[unit_id]
        moved = [fold(state.facts, name, value, at=text, source=source) for name, value in facts.items()]
        if any(moved):
            changed.append(state)
    save_facts(changed)


def put_facts(facts_of: Mapping[int, Mapping[str, Any]], *, at: datetime, source: str) -> None:
    """Replaces facts that are recomputed as a whole (open alarms, counts), whatever time they carried before."""
    states = lock_states(facts_of)
    text = stamp(at)
    changed = []
    for unit_id, facts in facts_of.items():
        state = states[unit_id]
        news = {name: value for name, value in facts.items() if state.facts.get(name, [None])[0] != value}
        if news:
            state.facts |= {name: [value, text, source] for name, value in news.items()}
            changed.append(state)
    save_facts(changed)
