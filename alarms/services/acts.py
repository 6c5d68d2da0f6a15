"""What people do to an alarm: they know of it, sign the work off, or say that it was never real."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from django.db import connection, transaction

from alarms.models import Alarm
from alarms.rules import Ruling
from alarms.services.publish import publish
from alarms.services.reports import RULED, ruled_codes, store_rulings
from alarms.watchers import AlarmChange, tell_watchers
from fleet.bell import ASSESS_TASK, ring
from fleet.errors import Conflict, NotFound, StaleRevision, WarmgateError
from fleet.models import Fleet, Member, Trip, UnitState
from fleet.records.audit import record_act
from fleet.retry import on_conflict
from fleet.trips.due import LIVE, make_due
from fleet.units.state import lock_states


class AlarmStillReported(WarmgateError):
    """The unit says that the fault is still there: it cannot be signed off."""

    code = "alarm-still-reported"


class AlarmNotOpen(Conflict):
    """The record is closed or voided; nothing more can be done to it."""


Act = Callable[[Alarm], AlarmChange]


def mark_seen(alarm_id: int, *, fleet: Fleet, by: Member, revision: int | None, now: datetime) -> Alarm:
    """A person knows of the alarm. It stays open."""

    def act(alarm: Alarm) -> AlarmChange:
        alarm.seen_at, alarm.seen_by = now, by
        record_act(by, act="alarm.seen", subject=alarm, at=now, content=_words(alarm))
        return AlarmChange.SEEN

    return _perform(alarm_id, act, fleet=fleet, revision=revision, now=now)


def sign_off(alarm_id: int, *, fleet: Fleet, by: Member, work_done: str, revision: int | None, now: datetime) -> Alarm:
    """A person signs what was done; the record closes. *Raises* AlarmStillReported."""

    def act(alarm: Alarm) -> AlarmChange:
        if alarm.as_reported:
            raise AlarmStillReported(
                f"{alarm.unit.number} still reports {alarm.meaning} ({alarm.code}). "
                "Do the work and wait until the unit reports it as cleared."
            )
        alarm.state, alarm.closed_at, alarm.cut_at = Alarm.State.CLOSED, now, max(now, alarm.last_event_at)
        alarm.signed_at, alarm.signed_by, alarm.work_done = now, by, work_done
        content = _words(alarm) | {"work_done": work_done, "name": str(by), "role": by.role, "meaning": "repaired"}
        record_act(by, act="alarm.signed_off", subject=alarm, at=now, content=content)
        return AlarmChange.CLOSED

    return _perform(alarm_id, act, fleet=fleet, revision=revision, now=now, ends_watch=True)


def void(alarm_id: int, *, fleet: Fleet, by: Member, reason: str, revision: int | None, now: datetime) -> Alarm:
    """A manager says, with a reason, that the alarm was never real. A later report of the fault opens a new record."""

    def act(alarm: Alarm) -> AlarmChange:
        alarm.state, alarm.cut_at = Alarm.State.VOIDED, max(now, alarm.last_event_at)
        alarm.voided_at, alarm.voided_by, alarm.void_reason = now, by, reason
        content = _words(alarm) | {"reason": reason, "as_reported": alarm.as_reported}
        record_act(by, act="alarm.voided", subject=alarm, at=now, content=content)
        return AlarmChange.VOIDED

    return _perform(alarm_id, act, fleet=fleet, revision=revision, now=now)


def _words(alarm: Alarm) -> dict[str, object]:
    return {"unit": alarm.unit.number, "code": alarm.code, "tier": str(alarm.tier)}


def _perform(
    alarm_id: int, act: Act, *, fleet: Fleet, revision: int | None, now: datetime, ends_watch: bool = False
) -> Alarm:
    """Does one act under the unit's lock, in one transaction with its audit entry and what follows from it.

    *ends_watch*: when nothing judges a derived alarm any more, its condition is taken as over.
    """

    def work() -> Alarm:
        with transaction.atomic():
            alarm = _locked(alarm_id, fleet)
            if revision is not None and alarm.revision != revision:
                raise StaleRevision(current=f'"{alarm.revision}"')
            if not alarm.is_open:
                raise AlarmNotOpen(f"The alarm is {alarm.state}; only an open one can be changed.")
            if ends_watch and alarm.derived and alarm.as_reported and not _is_judged(alarm):
                _end_watch(alarm, now)
                alarm = _locked(alarm_id, fleet)
            change = act(alarm)
            alarm.revision += 1
            alarm.save(update_fields=_ACT_COLUMNS)
            publish([alarm.unit_id], now=now)
            make_due([alarm.unit_id], at=now)
            tell_watchers(alarm, change, now=now)
            ring(ASSESS_TASK)
            return alarm

    return on_conflict(work)


_ACT_COLUMNS = (
    "state", "revision", "seen_at", "seen_by", "signed_at", "signed_by", "work_done", "voided_at", "voided_by",
    "void_reason", "closed_at", "cut_at",
)  # fmt: skip


def _locked(alarm_id: int, fleet: Fleet) -> Alarm:
    """The record, after its unit's state and itself were locked in the order everybody keeps. *Raises* NotFound."""
    unit_id = Alarm.objects.for_fleet(fleet).filter(pk=alarm_id).values_list("unit_id", flat=True).first()
    if unit_id is None:
        raise NotFound("There is no such alarm.")
    lock_states([unit_id])
    rows = Alarm.objects.for_fleet(fleet).select_for_update(
        of=("self",) if connection.features.has_select_for_update_of else ()
    )
    alarm: Alarm = rows.select_related("unit").get(pk=alarm_id)
    return alarm


def _end_watch(alarm: Alarm, now: datetime) -> None:
    state = UnitState.objects.for_fleet(alarm.fleet_id).get(unit_id=alarm.unit_id)
    known = ruled_codes(state.facts.get(RULED, [None])[0])
    store_rulings(alarm.fleet_id, alarm.unit_id, [Ruling(alarm.code, False)], known=known, now=now)


def _is_judged(alarm: Alarm) -> bool:
    """Whether the unit has a live trip: only then do our own rules look at it, and can say that a fault is over."""
    live = Trip.objects.for_fleet(alarm.fleet_id).filter(state__in=LIVE)
    return live.filter(assigned_unit_id=alarm.unit_id).exists() or (
        live.filter(assigned_unit__isnull=True, planned_unit_id=alarm.unit_id).exists()
    )
