"""Events that could not be taken: kept whole, listed, replayed or discarded by a person."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import orjson
from django.db import connection
from django.db.models import Count

from fleet.errors import WarmgateError
from fleet.events import handlers
from fleet.ingest.careful import BadItem
from fleet.ingest.parse import Item
from fleet.models import Member, QuarantinedEvent
from fleet.records.audit import record_act
from fleet.units.state import put_facts

FACT = "fleet.quarantined_faults"
"""Unit fact: how many fault events of this unit wait in quarantine, so that its record is not complete."""


class NotHeld(WarmgateError):
    """The event was replayed or discarded before."""

    code = "conflict"


@dataclass(frozen=True, slots=True)
class Outcast:
    """One item that goes to quarantine."""

    item: Item
    bad: BadItem
    unit_id: int | None = None


def quarantine(fleet_id: int, outcasts: Sequence[Outcast], *, now: datetime) -> dict[int, int]:
    """Keeps the items, in one statement, and returns {index in batch: quarantine id}.

    A repeat of a held item counts up its row.
    """
    rows: dict[tuple[str, str], dict[str, Any]] = {}
    of_item: dict[int, tuple[str, str]] = {}
    for outcast in outcasts:
        key = (hashlib.sha256(outcast.item.raw).hexdigest(), outcast.bad.code)
        of_item[outcast.item.index] = key
        if key in rows:
            rows[key]["times_received"] += 1
        else:
            rows[key] = _row(fleet_id, outcast, key[0], now)
    with connection.cursor() as cursor:
        cursor.execute(_HOLD[connection.vendor], [orjson.dumps(list(rows.values())).decode()])
        ids = {(raw_hash, code): pk for pk, raw_hash, code in cursor.fetchall()}
    count_by_unit({outcast.unit_id for outcast in outcasts if outcast.unit_id is not None}, now=now)
    return {index: ids[key] for index, key in of_item.items()}


def _row(fleet_id: int, outcast: Outcast, raw_hash: str, now: datetime) -> dict[str, Any]:
    envelope, bad = outcast.item.envelope, outcast.bad
    return {
        "fleet_id": fleet_id,
        "source": envelope.source if envelope else "",
        "event_id": envelope.id if envelope else "",
        "event_type": envelope.type if envelope else "",
        "subject": envelope.subject if envelope else "",
        "unit_id": outcast.unit_id,
        "code": bad.code,
        "detail": _printable(bad.detail[:1000]),
        "pointer": _printable(bad.pointer[:300]),
        "retryable": bad.retryable,
        "raw": _printable(outcast.item.raw.decode("utf-8", "replace")),
        "raw_hash": raw_hash,
        "times_received": 1,
        "received_at": str(connection.ops.adapt_datetimefield_value(now)),
        "state": QuarantinedEvent.State.HELD.value,
        "reason": "",
    }


def _printable(text: str) -> str:
    """PostgreSQL cannot hold U+0000."""
    return text.replace("\x00", "�")


_COLUMNS = {
    "fleet_id": "bigint", "source": "text", "event_id": "text", "event_type": "text", "subject": "text",
    "unit_id": "bigint", "code": "text", "detail": "text", "pointer": "text", "retryable": "boolean", "raw": "text",
    "raw_hash": "text", "times_received": "integer", "received_at": "timestamptz", "state": "text", "reason": "text",
}  # fmt: skip
_HOLD = {
    vendor: f"INSERT INTO fleet_quarantinedevent ({', '.join(_COLUMNS)}) SELECT {items} WHERE true"
    " ON CONFLICT (fleet_id, raw_hash, code) WHERE state = 'held' DO UPDATE"
    " SET times_received = fleet_quarantinedevent.times_received + excluded.times_received"
    " RETURNING id, raw_hash, code"
    for vendor, items in {
        "postgresql": f"{', '.join(_COLUMNS)} FROM json_to_recordset(%s::json)"
        f" AS n({', '.join(f'{name} {kind}' for name, kind in _COLUMNS.items())})",
        "sqlite": ", ".join(f"json_extract(value, '$.{name}')" for name in _COLUMNS) + " FROM json_each(%s)",
    }.items()
}


def take_over(row: QuarantinedEvent, newer_id: int) -> None:
    """A held event was refused again, for another reason: it keeps its row and takes over the new reason's words."""
    newer = QuarantinedEvent.objects.for_fleet(row.fleet_id).get(pk=newer_id)
    newer.delete()
    for name in ("unit_id", "code", "detail", "pointer", "retryable"):
        setattr(row, name, getattr(newer, name))
    row.save(update_fields=["unit", "code", "detail", "pointer", "retryable"])


def count_by_unit(unit_ids: Iterable[int], *, now: datetime) -> None:
    """Tells readiness how many fault events of each unit are held. Readings in quarantine do not count."""
    ids = sorted(set(unit_ids))
    if not ids:
        return
    held = (
        QuarantinedEvent.objects.across_fleets()
        .filter(unit_id__in=ids, state=QuarantinedEvent.State.HELD)
        .filter(event_type__in=[handler.id for handler in handlers if handler.voids_unit_data])
        .values("unit_id")
        .annotate(n=Count("pk"))
        .order_by("unit_id")
    )
    counts = {row["unit_id"]: row["n"] for row in held}
    put_facts({unit_id: {FACT: counts.get(unit_id, 0)} for unit_id in ids}, at=now, source="fleet")


def close_held(row: QuarantinedEvent, *, state: QuarantinedEvent.State, by: Member, reason: str, now: datetime) -> None:
    """Marks a held event replayed or discarded. *Raises* NotHeld when somebody was faster."""
    changed = (
        QuarantinedEvent.objects.for_fleet(row.fleet_id)
        .filter(pk=row.pk, state=QuarantinedEvent.State.HELD)
        .update(state=state, reason=reason, closed_at=now, closed_by=by)
    )
    if not changed:
        raise NotHeld("This event was already replayed or discarded.")
    record_act(by, act=f"quarantine.{state}", subject=row, at=now, content={"reason": reason})
    if row.unit_id is not None:
        count_by_unit([row.unit_id], now=now)
