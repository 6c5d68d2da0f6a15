"""Watches every unit's heat: reads what is new since the last look, weighs it, tells what changed.

The watch goes in order of the readings' times. It remembers its state about an hour before the newest reading and
goes over that hour again at every look, so readings that are late by less are taken in order; later ones the watch
passes over (days take them in).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import groupby

from django.db import transaction
from django.db.models import F, OuterRef, Q, Subquery

from fleet.events import LEARNED_TYPE, tell
from fleet.models import Unit, UnitState
from fleet.readiness.facts import UnitFacts
from fleet.units.state import lock_states
from thermal.adapter.learning.build import plant_for
from thermal.adapter.learning.documents import document_of_watch, watch_of
from thermal.adapter.learning.findings import judge_watch
from thermal.adapter.learning.rows import Row, readings_from, rows_between
from thermal.adapter.models import UnitLearning
from thermal.health.watch import HeatWatch, WatchState

UNITS_AT_ONCE = 250
STALE = timedelta(hours=3)
"""Readings older than this say nothing about now; the watch begins anew when fresh ones come."""
BEGIN = timedelta(hours=3)
LATE = timedelta(hours=1)
AHEAD = timedelta(minutes=15)


def watch_due(*, now: datetime, at_most: int = UNITS_AT_ONCE) -> int:
    """Looks at units with readings the watch has not seen, those waiting longest first; how many there were."""
    seen = UnitLearning.objects.across_fleets().filter(unit_id=OuterRef("unit_id")).values("watched_to")
    states = (
        UnitState.objects.across_fleets()
        .filter(newest_at__gt=now - STALE)
        .annotate(watched_to=Subquery(seen))
        .filter(Q(watched_to__isnull=True) | Q(newest_at__gt=F("watched_to")))
        .order_by(F("watched_to").asc(nulls_first=True), "unit_id")
    )
    ids = list(states.values_list("unit_id", flat=True)[:at_most])
    if ids:
        _watch(ids, now)
    return len(ids)


def _watch(ids: Sequence[int], now: datetime) -> None:
    known = {row.unit_id: row for row in UnitLearning.objects.across_fleets().filter(unit_id__in=ids)}
    since = {unit_id: _since(known.get(unit_id), now) for unit_id in ids}
    rows = rows_between(ids, min(since.values()), now + AHEAD)
    by_unit = {unit_id: list(own) for unit_id, own in groupby(rows, key=lambda row: row[0])}
    units = Unit.objects.across_fleets().select_related("model", "state").filter(pk__in=ids)
    for unit in units.order_by("pk"):
        facts = UnitFacts.from_rows(unit, unit.model, unit.state)
        own = [row for row in by_unit.get(unit.pk, ()) if row[1] >= since[unit.pk]]
        _look(unit, facts, known.get(unit.pk), own, now)


def _since(row: UnitLearning | None, now: datetime) -> datetime:
    """From when on readings are needed: after what the kept state has seen, or a while back for a fresh start."""
    if row is None or row.watched_from is None or row.watched_from < now - STALE - LATE:
        return now - BEGIN
    return row.watched_from


def _look(unit: Unit, facts: UnitFacts, row: UnitLearning | None, rows: Sequence[Row], now: datetime) -> None:
    """Runs the watch of one unit over these readings and keeps what it remembers."""
    plant, newest_at = plant_for(facts), facts.newest_at
    states: list[WatchState] = []
    readings = readings_from(rows)
    if plant is not None and len(readings):
        rise = None if row is None else row.condition.get("full_rise_k")
        kept = watch_of(row.watch) if row is not None and row.watched_from and rows[0][1] >= row.watched_from else None
        states = HeatWatch(plant, rise).run(readings, kept)
    with transaction.atomic():
        lock_states([unit.pk])
        saved, _ = UnitLearning.objects.across_fleets().get_or_create(
            unit_id=unit.pk, defaults={"fleet_id": unit.fleet_id}
        )
        if saved.watched_to is not None and newest_at is not None and saved.watched_to >= newest_at:
            return  # another worker was faster
        saved.watched_to = newest_at
        if states:
            tell(LEARNED_TYPE, unit.fleet_id, judge_watch(unit.pk, states[-1]), now=now)
            _keep(saved, states)
        saved.save(update_fields=["watched_to", "watched_from", "watch"])


def _keep(row: UnitLearning, states: Sequence[WatchState]) -> None:
    """Keeps the newest state that is at least `LATE` older than the last one; without such, what was kept stays."""
    horizon_s = states[-1].at_s - LATE / timedelta(seconds=1)
    old = [state for state in states if state.at_s <= horizon_s]
    if old:
        row.watched_from, row.watch = _moment(old[-1]), document_of_watch(old[-1])


def _moment(state: WatchState) -> datetime:
    return datetime.fromtimestamp(state.at_s, tz=UTC)
