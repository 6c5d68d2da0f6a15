"""The state row of a unit: what readings told and what other apps contributed, and the lock that goes with it.

The only writer of `UnitState`. Every writer locks the rows first, in ascending unit id; that lock is what makes
assignment, faults and readings of one unit take turns.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

import msgspec
import orjson
from django.db import connection

from fleet.clock import stamp
from fleet.measured import Entry, Measured, instants_of, lines_of, read_lines
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


# --- what readings told -------------------------------------------------------------------------------------------


class LockedUnit(msgspec.Struct):
    """A unit as ingest needs it, with its state row under lock."""

    id: int
    tank_l: float | None
    measured: Measured


def lock_units(fleet_id: int, numbers: Collection[str]) -> dict[str, LockedUnit]:
    """The fleet's units of these numbers, their state rows locked in ascending order, in one statement."""
    if not numbers:
        return {}
    postgresql = connection.vendor == "postgresql"
    # Numbers hold no control characters, so one text with line breaks carries them all.
    listed = "\n".join(numbers) if postgresql else orjson.dumps(list(numbers)).decode()
    with connection.cursor() as cursor:
        cursor.execute(_LOCK[connection.vendor], [listed, fleet_id])
        rows = cursor.fetchall()
    told = read_lines([row[3] for row in rows])
    return {row[0]: LockedUnit(row[1], row[2], measured) for row, measured in zip(rows, told, strict=True)}


_LOCK = {
    # The numbers drive the look-up, one probe of the unique index each, whatever the planner knows of the table:
    # OFFSET 0 keeps it from joining the other way round, and `= ANY` in a prepared statement compares all with all.
    "postgresql": """
        SELECT u.number, u.id, m.tank_l, s.measured
          FROM unnest(string_to_array(%s, E'\\n')) AS n(number)
         CROSS JOIN LATERAL (SELECT id, number, model_id FROM fleet_unit
                              WHERE fleet_id = %s AND number = n.number OFFSET 0) AS u
          JOIN fleet_unitmodel m ON m.id = u.model_id
          JOIN fleet_unitstate s ON s.unit_id = u.id
         ORDER BY s.unit_id FOR UPDATE OF s""",
    "sqlite": """
        SELECT u.number, u.id, m.tank_l, s.measured
          FROM json_each(%s) AS n JOIN fleet_unit u ON u.number = n.value
          JOIN fleet_unitmodel m ON m.id = u.model_id JOIN fleet_unitstate s ON s.unit_id = u.id
         WHERE u.fleet_id = %s""",
}


def save_measured(units: Sequence[LockedUnit]) -> None:
    """Writes what readings told of locked units in one statement, and moves their versions."""
    if not units:
        return
    told = [unit.measured for unit in units]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            ids = ",".join([str(unit.id) for unit in units])
            cursor.execute(_SAVE_MEASURED, [ids, lines_of(told), instants_of(told)])
            return
        stored = connection.ops.adapt_datetimefield_value
        cursor.executemany(
            "UPDATE fleet_unitstate SET measured = %s, newest_at = %s, version = version + 1 WHERE unit_id = %s",
            [
                (text, str(stored(unit.measured.newest_at)), unit.id)
                for unit, text in zip(units, lines_of(told).split("\n"), strict=True)
            ],
        )


# JSON text holds no line break, so one text carries all documents. An array would be written element by element.
_SAVE_MEASURED = """
UPDATE fleet_unitstate AS s
   SET measured = n.measured, newest_at = n.newest_at, version = s.version + 1
  FROM unnest(string_to_array(%s, ',')::bigint[], string_to_array(%s, E'\\n'), string_to_array(%s, ',')::timestamptz[])
       AS n(unit_id, measured, newest_at)
 WHERE s.unit_id = n.unit_id"""


# --- what other apps contribute -----------------------------------------------------------------------------------


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
