"""Reads of alarms: one with its names, its history, and the codes nobody has explained."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Max, Min, Q, QuerySet

from alarms.models import Alarm, FaultEvent, Mapping
from fleet.errors import NotFound
from fleet.models import AuditEntry, Fleet

WITH_NAMES = ("unit", "fleet", "seen_by", "signed_by", "voided_by")
MOST_UNMAPPED = 500
MOST_EVENTS = 500


def alarms_with_names(rows: QuerySet[Alarm]) -> QuerySet[Alarm]:
    """The same rows with everything the answers name."""
    return rows.select_related(*WITH_NAMES)


def alarm_of(fleet: Fleet, alarm_id: int) -> Alarm:
    """*Raises* NotFound."""
    alarm = alarms_with_names(Alarm.objects.for_fleet(fleet)).filter(pk=alarm_id).first()
    if alarm is None:
        raise NotFound("There is no such alarm.")
    return alarm


@dataclass(frozen=True, slots=True)
class History:
    """Everything that is known of one alarm."""

    alarm: Alarm
    events: list[FaultEvent]
    """Newest first, `MOST_EVENTS` at most."""
    acts: list[AuditEntry]
    """Oldest first."""
    chain: list[Alarm]
    """Every record of this fault of this unit, newest first, this one among them."""


def history_of(fleet: Fleet, alarm_id: int) -> History:
    """The story of one alarm: what the unit said, what people did, and how often it was there before."""
    alarm = alarm_of(fleet, alarm_id)
    events = FaultEvent.objects.for_fleet(fleet).filter(
        unit_id=alarm.unit_id, scheme=alarm.scheme, code=alarm.code, at__gte=alarm.raised_at
    )
    if alarm.cut_at is not None:
        events = events.filter(at__lte=alarm.cut_at)
    acts = AuditEntry.objects.for_fleet(fleet).filter(object_type="alarm", object_id=str(alarm.pk))
    chain = Alarm.objects.for_fleet(fleet).filter(unit_id=alarm.unit_id, scheme=alarm.scheme, code=alarm.code)
    return History(
        alarm=alarm,
        events=list(events.order_by("-at", "-source", "-event_id")[:MOST_EVENTS]),
        acts=list(acts.order_by("id")),
        chain=list(chain.order_by("-id")[:MOST_EVENTS]),
    )


@dataclass(frozen=True, slots=True)
class UnmappedCode:
    """A code that units of one model sent and that no book explains."""

    unit_model: str
    code: str
    units: int
    records: int
    open: int
    first_raised_at: datetime
    last_raised_at: datetime
    text: str
    """What a unit said beside the code, if it said anything."""


def unmapped_codes(fleet: Fleet, *, unit_model: str | None = None) -> list[UnmappedCode]:
    """Codes without a meaning, the one seen last first, `MOST_UNMAPPED` at most."""
    rows = Alarm.objects.for_fleet(fleet).filter(mapping=Mapping.NONE)
    if unit_model is not None:
        rows = rows.filter(unit__model__key=unit_model)
    found: Any = (
        rows.values("unit__model__key", "code")
        .annotate(
            units=Count("unit_id", distinct=True),
            records=Count("pk"),
            open=Count("pk", filter=Q(open_rank=1)),
            first_raised_at=Min("raised_at"),
            last_raised_at=Max("raised_at"),
            text=Max("text"),
        )
        .order_by("-last_raised_at", "unit__model__key", "code")
    )
    return [
        UnmappedCode(unit_model=row.pop("unit__model__key"), **row)
        for row in (dict(values) for values in found[:MOST_UNMAPPED])
    ]
