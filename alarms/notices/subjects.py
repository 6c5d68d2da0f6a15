"""What a notice is about: holds and alarms join the open notice of their unit, and leave it when they end.

Callers are in the transaction of the change itself and hold the unit's state, so two changes of one unit take turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F, Q
from django.db.models.functions import Least

from alarms.learned import HEAT_CODES
from alarms.models import Alarm, Kind, Notice, NoticeSubject, Scheme, Tier
from fleet.models import Hold, Trip


def is_heat_lost(alarm: Alarm) -> bool:
    return alarm.scheme == Scheme.DERIVED and alarm.code in HEAT_CODES


def trip_under_way(unit_id: int) -> Trip | None:
    """The trip that the unit is on now."""
    rows = Trip.objects.across_fleets().filter(state=Trip.State.UNDER_WAY, assigned_unit_id=unit_id)
    trip: Trip | None = rows.order_by("-departed_at", "-pk").first()
    return trip


def concerns_somebody(alarm: Alarm, *, under_way: bool) -> bool:
    """Stop-tier alarms always; heat lost and what needs attention while the unit is on a trip; `watch` never."""
    if alarm.tier == Tier.STOP:
        return True
    return under_way and (alarm.tier == Tier.ATTEND or is_heat_lost(alarm))


def note_hold(hold: Hold, *, now: datetime) -> None:
    """Makes an open hold a subject of its unit's notice; one that re-opened counts as news again."""
    notice = _open_notice(hold.fleet_id, hold.unit_id, now=now)
    subject, made = NoticeSubject.objects.for_fleet(hold.fleet_id).get_or_create(
        notice=notice,
        hold=hold,
        defaults={
            "fleet_id": hold.fleet_id, "kind": Kind.HOLD, "trip_id": hold.trip_id, "depart_at": hold.trip.depart_at,
            "opened_at": now,
        },
    )  # fmt: skip
    _look_again(notice, subject, made=made, now=now)


def note_alarm(alarm: Alarm, *, now: datetime) -> None:
    """Makes an alarm that concerns somebody a subject of its unit's notice."""
    trip = trip_under_way(alarm.unit_id)
    if not concerns_somebody(alarm, under_way=trip is not None):
        return
    notice = _open_notice(alarm.fleet_id, alarm.unit_id, now=now)
    subject, made = NoticeSubject.objects.for_fleet(alarm.fleet_id).get_or_create(
        notice=notice,
        alarm=alarm,
        defaults={"fleet_id": alarm.fleet_id, "kind": Kind.ALARM, "trip": trip, "opened_at": now},
    )
    _look_again(notice, subject, made=made, now=now)


def _open_notice(fleet_id: int, unit_id: int, *, now: datetime) -> Notice:
    rows = Notice.objects.for_fleet(fleet_id).filter(~Q(state=Notice.State.CLOSED), unit_id=unit_id)
    found = rows.select_for_update().first()
    if found is not None:
        return found
    with transaction.atomic():
        notice: Notice = Notice.objects.create(fleet_id=fleet_id, unit_id=unit_id, opened_at=now, next_at=now)
    return notice


def _look_again(notice: Notice, subject: NoticeSubject, *, made: bool, now: datetime) -> None:
    """Revives an ended subject, and makes the notice due. The revision moves when there is more to acknowledge."""
    news = made
    if subject.ended_at is not None:
        if subject.end_told_at is not None:
            subject.opened_at, subject.told_at, subject.end_told_at = now, None, None
            news = True
        subject.ended_at = None
        subject.save(update_fields=["opened_at", "told_at", "end_told_at", "ended_at"])
    changes = {"revision": F("revision") + 1} if news else {}
    Notice.objects.for_fleet(notice.fleet_id).filter(pk=notice.pk).update(next_at=Least("next_at", now), **changes)


def end_hold(hold: Hold, *, now: datetime) -> int:
    """The hold is not open any more: its subject ends. Returns how many were ended."""
    return _end(NoticeSubject.objects.for_fleet(hold.fleet_id).filter(hold=hold), now)


def end_alarm(alarm: Alarm, *, now: datetime) -> int:
    """The alarm was closed or voided, or does not concern anybody any more."""
    return _end(NoticeSubject.objects.for_fleet(alarm.fleet_id).filter(alarm=alarm), now)


def _end(rows: Any, now: datetime) -> int:
    standing = rows.filter(ended_at__isnull=True).exclude(notice__state=Notice.State.CLOSED)
    found = list(standing.values_list("pk", "notice_id"))
    notices = sorted({notice_id for _, notice_id in found})
    look_again(notices, now=now)
    NoticeSubject.objects.across_fleets().filter(pk__in=[pk for pk, _ in found]).update(ended_at=now)
    return len(found)


def look_again(notice_ids: list[int], *, now: datetime) -> int:
    """Makes open notices due now. Rows are locked in ascending id, so that two callers cannot wait for each other."""
    if not notice_ids:
        return 0
    with transaction.atomic():
        rows = Notice.objects.across_fleets().filter(pk__in=notice_ids).exclude(state=Notice.State.CLOSED)
        ids = list(rows.select_for_update().order_by("pk").values_list("pk", flat=True))
        return Notice.objects.across_fleets().filter(pk__in=ids).update(next_at=Least("next_at", now))


def follow_departures(trips: Sequence[Trip], *, now: datetime) -> None:
    """Where the planned departure of a held trip moved, its notice may be more urgent, or less.

    One statement while none has moved; then the notices in one go, and one more for each trip that moved.
    """
    departs = {trip.pk: trip.depart_at for trip in trips}
    known = NoticeSubject.objects.across_fleets().filter(trip_id__in=departs, kind=Kind.HOLD, ended_at__isnull=True)
    rows = known.values_list("pk", "notice_id", "trip_id", "depart_at") if departs else ()
    moved = [(pk, notice_id, trip_id) for pk, notice_id, trip_id, at in rows if at != departs[trip_id]]
    look_again(sorted({notice_id for _, notice_id, _ in moved}), now=now)
    for trip_id in sorted({trip_id for _, _, trip_id in moved}):
        own = NoticeSubject.objects.across_fleets().filter(pk__in=[pk for pk, _, of in moved if of == trip_id])
        own.update(depart_at=departs[trip_id])
