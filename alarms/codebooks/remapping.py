"""Applies the code books in force to records that exist already."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from alarms.codebooks.mapping import meanings_of
from alarms.models import Alarm, Mapping, Scheme
from alarms.services.publish import publish
from alarms.watchers import AlarmChange, tell_watchers
from fleet.records.audit import record_act

COLUMNS = ("tier", "component", "meaning", "what_to_do", "mapping")


@dataclass(frozen=True, slots=True)
class Remapped:
    """One open alarm that now means something else."""

    alarm_id: int
    unit: str
    code: str
    tier_before: str
    tier: str


def remap(fleet_id: int, unit_ids: Collection[int], *, now: datetime, silent: bool = False) -> list[Remapped]:
    """Maps the open alarms of these units again, and returns those that changed.

    Closed records that no book explained so far get their words, but keep the tier they were handled under: what was
    decided then stays as it was decided. *silent*: for a dry run, whose transaction is taken back: nobody is told.
    The units' states are locked by the caller.
    """
    rows = list(
        Alarm.objects.for_fleet(fleet_id)
        .filter(unit_id__in=unit_ids)
        .exclude(scheme=Scheme.DERIVED)
        .filter(Q(open_rank=1) | Q(mapping=Mapping.NONE))
        .select_related("unit")
        .order_by("pk")
    )
    meanings = meanings_of([(alarm.unit_id, alarm.scheme, alarm.code) for alarm in rows])
    changed: list[Alarm] = []
    remapped: list[Remapped] = []
    raised_or_lowered: list[tuple[Alarm, str]] = []
    for alarm in rows:
        meaning = meanings[alarm.unit_id, alarm.scheme, alarm.code]
        before = alarm.tier
        if not _apply(alarm, {name: str(getattr(meaning, name)) for name in COLUMNS}):
            continue
        changed.append(alarm)
        if alarm.is_open:
            remapped.append(Remapped(alarm.pk, alarm.unit.number, alarm.code, before, alarm.tier))
        if before != alarm.tier:
            raised_or_lowered.append((alarm, before))
    Alarm.objects.across_fleets().bulk_update(changed, list(COLUMNS))
    publish({alarm.unit_id for alarm in changed}, now=now)
    for alarm, before in raised_or_lowered if not silent else ():
        content = {"code": alarm.code, "before": before, "tier": alarm.tier}
        record_act(None, act="alarm.tier_changed", subject=alarm, at=now, content=content)
        tell_watchers(alarm, AlarmChange.TIER_CHANGED, now=now)
    return remapped


def _apply(alarm: Alarm, news: dict[str, str]) -> bool:
    """Takes the columns over; says whether any changed."""
    if not alarm.is_open:
        news = news | {"tier": alarm.tier}
    changed = {name: value for name, value in news.items() if getattr(alarm, name) != value}
    for name, value in changed.items():
        setattr(alarm, name, value)
    return bool(changed)
