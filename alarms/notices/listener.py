"""Puts notices into the app's and fleet's registries: who tells them of holds, of alarms, and of what they missed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from alarms.models import OPEN_STATES, Alarm, Notice, NoticeSubject, Tier
from alarms.notices.services import seen_with_its_alarms
from alarms.notices.subjects import (
    concerns_somebody,
    end_alarm,
    end_hold,
    follow_departures,
    note_alarm,
    note_hold,
    trip_under_way,
)
from alarms.notices.webhooks import register_webhooks
from alarms.watchers import AlarmChange, watchers
from fleet.bell import DELIVER_TASK, ring
from fleet.holds import HoldChange, HoldListener, listeners
from fleet.models import Hold, Trip
from fleet.readiness.assess import Answer
from fleet.units.state import lock_states


def hold_changed(hold: Hold, change: HoldChange, now: datetime) -> None:
    """A hold opened, changed its causes, or ended. Bears being told twice."""
    if change is HoldChange.ENDED:
        end_hold(hold, now=now)
    else:
        note_hold(hold, now=now)
    ring(DELIVER_TASK)


def alarm_changed(alarm: Alarm, change: str, now: datetime) -> None:
    """An alarm was raised, changed its tier, or ended. Bears being told twice."""
    if change in (AlarmChange.CLOSED, AlarmChange.VOIDED):
        end_alarm(alarm, now=now)
    elif change == AlarmChange.SEEN:
        seen_with_its_alarms(alarm, now=now)
    elif alarm.is_open and change != AlarmChange.RETURNED:
        if concerns_somebody(alarm, under_way=trip_under_way(alarm.unit_id) is not None):
            note_alarm(alarm, now=now)
        else:
            end_alarm(alarm, now=now)
    ring(DELIVER_TASK)


def answers_stored(stored: Sequence[tuple[Trip, Answer]], now: datetime) -> None:
    """The departures of held trips may have moved since their notices last looked."""
    follow_departures([trip for trip, _ in stored if trip.state == Trip.State.PLANNED], now=now)


def mend_missed(now: datetime) -> int:
    """Finds holds and alarms that the notices were never told of, or whose end they missed; says how many."""
    return _mend_holds(now) + _mend_alarms(now)


def _standing(**same: OuterRef) -> Exists:
    rows = NoticeSubject.objects.across_fleets().filter(ended_at__isnull=True, **same)
    return Exists(rows.exclude(notice__state=Notice.State.CLOSED))


def _mend_holds(now: datetime) -> int:
    standing = _standing(hold=OuterRef("pk"))
    missed = Hold.objects.across_fleets().filter(
        Q(standing, ~Q(state=Hold.State.OPEN)) | Q(~standing, state=Hold.State.OPEN)
    )
    found = list(missed.order_by("unit_id", "pk").values_list("pk", "unit_id"))
    for pk, unit_id in found:
        with transaction.atomic():
            lock_states([unit_id])
            hold = Hold.objects.across_fleets().select_related("trip").get(pk=pk)
            is_open = hold.state == Hold.State.OPEN
            hold_changed(hold, HoldChange.OPENED if is_open else HoldChange.ENDED, now)
    return len(found)


def _mend_alarms(now: datetime) -> int:
    standing = _standing(alarm=OuterRef("pk"))
    on_trip = Trip.objects.across_fleets().filter(
        state=Trip.State.UNDER_WAY, assigned_unit_id=OuterRef("unit_id"), departed_at__lte=OuterRef("opened_at")
    )
    told_of = Q(tier=Tier.STOP) | Q(Exists(on_trip), tier=Tier.ATTEND)
    missed = Alarm.objects.across_fleets().filter(
        Q(standing, ~Q(state__in=OPEN_STATES)) | Q(~standing & told_of, state__in=OPEN_STATES)
    )
    found = list(missed.order_by("unit_id", "pk").values_list("pk", "unit_id"))
    for pk, unit_id in found:
        with transaction.atomic():
            lock_states([unit_id])
            alarm = Alarm.objects.across_fleets().get(pk=pk)
            alarm_changed(alarm, AlarmChange.OPENED if alarm.is_open else AlarmChange.CLOSED, now)
    return len(found)


LISTENER = HoldListener(
    id="alarms.notices",
    told=hold_changed,
    missed=mend_missed,
    assessed=answers_stored,
)


def register() -> None:
    """Called once, when the app is ready."""
    listeners.add(LISTENER)
    if alarm_changed not in watchers:
        watchers.append(alarm_changed)
    register_webhooks()
