"""Publishes what readiness, inspections and people read of a unit's alarms, as unit facts.

Written in the transaction of the rows it summarises, so that a check needs no query of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.db.models import Count, Max, Q

from alarms.models import Alarm, Tier
from fleet.clock import text_of
from fleet.units.state import put_facts

SOURCE = "alarms"
OPEN, OPEN_COUNT = "alarms.open", "alarms.open_count"
LAST_STOP, LAST_SIGNED = "alarms.last_stop_at", "alarms.last_signed_at"
HEAT_FAILURES = "alarms.heat_failures"
"""How many faults ever stopped the unit's heat: stop-tier alarms (heat lost in silence is one) that were not voided.
Over the engine hours of the unit's readings this is what its failure rate is learned from."""
MOST_LISTED = 50
STOPPED = Q(tier=Tier.STOP) & ~Q(state=Alarm.State.VOIDED)
GRAVEST = (Tier.STOP, Tier.ATTEND, Tier.WATCH)


def publish(unit_ids: Iterable[int], *, now: datetime) -> None:
    """Recomputes the alarm facts of these units: three statements and, when something changed, one more."""
    ids = sorted(set(unit_ids))
    if not ids:
        return
    opened: dict[int, list[Alarm]] = {unit_id: [] for unit_id in ids}
    rows = Alarm.objects.across_fleets().filter(unit_id__in=ids, open_rank=1).order_by("-raised_at", "-id")
    for alarm in rows:
        opened[alarm.unit_id].append(alarm)
    moments = _moments(ids)
    put_facts(
        {
            unit_id: {
                OPEN: [open_document(alarm) for alarm in listed(alarms)],
                OPEN_COUNT: len(alarms),
                LAST_STOP: _text(moments.get(unit_id, {}).get("stopped")),
                LAST_SIGNED: _text(moments.get(unit_id, {}).get("signed")),
                HEAT_FAILURES: moments.get(unit_id, {}).get("failures", 0),
            }
            for unit_id, alarms in opened.items()
        },
        at=now,
        source=SOURCE,
    )


def _moments(unit_ids: Sequence[int]) -> dict[int, dict[str, Any]]:
    """Per unit the newest raise of a stop-tier alarm that was not voided, and the newest signature under one.

    A manager's void is a signature too: a person took the cause away. What the service withdrew itself is not.
    """
    rows = (
        Alarm.objects.across_fleets()
        .filter(unit_id__in=unit_ids)
        .values("unit_id")
        .annotate(
            stopped=Max("raised_at", filter=STOPPED),
            failures=Count("pk", filter=STOPPED),
            signed=Max("signed_at"),
            voided=Max("voided_at", filter=Q(voided_by__isnull=False)),
        )
        .order_by("unit_id")
    )
    return {
        row["unit_id"]: {
            "stopped": row["stopped"],
            "failures": row["failures"],
            "signed": max((at for at in (row["signed"], row["voided"]) if at is not None), default=None),
        }
        for row in rows
    }


def listed(alarms: Sequence[Alarm]) -> list[Alarm]:
    """The alarms that stand in the fact, newest first; when there are too many, graver tiers before others."""
    if len(alarms) <= MOST_LISTED:
        return list(alarms)
    kept = {alarm.pk for alarm in sorted(alarms, key=lambda alarm: GRAVEST.index(alarm.tier))[:MOST_LISTED]}
    return [alarm for alarm in alarms if alarm.pk in kept]


def open_document(alarm: Alarm) -> dict[str, Any]:
    return {
        "id": alarm.pk,
        "tier": str(alarm.tier),
        "scheme": str(alarm.scheme),
        "code": alarm.code,
        "component": alarm.component,
        "meaning": alarm.meaning,
        "what_to_do": alarm.what_to_do,
        "raised_at": text_of(alarm.raised_at),
        "returned_at": _text(alarm.returned_at),
        "state": str(alarm.state),
        "unmapped": alarm.unmapped,
        "derived": alarm.derived,
    }


def _text(at: datetime | None) -> str | None:
    return None if at is None else text_of(at)
