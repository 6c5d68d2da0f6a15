"""Closes watch and attend alarms that have returned, once fresh data were quiet for long enough."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from alarms.models import Alarm, Tier
from alarms.watchers import AlarmChange, tell_watchers
from fleet.policy import Policy
from fleet.records.audit import record_act


def quiet_end(alarm: Alarm, *, newest_at: datetime | None, policy: Policy) -> datetime | None:
    """When the quiet after a return had lasted long enough, by the unit's own data; None while it has not.

    The moment follows from stored rows alone (the return, the policy, the newest reading), so that it can be worked
    out again. Silence is not quiet: a reading has to be newer than the moment. A stop-tier alarm never closes so.
    """
    if alarm.state != Alarm.State.RETURNED or alarm.tier == Tier.STOP or alarm.returned_at is None:
        return None
    ends_at = max(alarm.returned_at + timedelta(minutes=policy.alarm_quiet_min), alarm.last_event_at)
    return ends_at if newest_at is not None and newest_at >= ends_at else None


def close_quiet(alarms: Sequence[Alarm], *, newest_at: datetime | None, policy: Policy, now: datetime) -> list[Alarm]:
    """Closes those of these open alarms of one unit that are due. The caller holds the lock and publishes."""
    closed = []
    for alarm in alarms:
        ends_at = quiet_end(alarm, newest_at=newest_at, policy=policy)
        if ends_at is None:
            continue
        alarm.state, alarm.closed_at, alarm.cut_at = Alarm.State.CLOSED, ends_at, ends_at
        alarm.save(update_fields=["state", "closed_at", "cut_at"])
        record_act(None, act="alarm.closed_quiet", subject=alarm, at=now, content={"closed_at": ends_at.isoformat()})
        tell_watchers(alarm, AlarmChange.CLOSED, now=now)
        closed.append(alarm)
    return closed
