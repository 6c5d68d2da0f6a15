"""What happens to a unit's alarms when an answer about its trip is stored: our own rules, the quiet, the time left.

Called inside the assess transaction with the unit's state and the trip locked. For a unit without a live trip nothing
here runs: nobody is waiting for it, and its next trip looks at it again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from django.db.models import Q

from alarms.damage import Damage, damage_of
from alarms.models import Alarm, Tier
from alarms.rules import HEAT_LOST, judge_all
from alarms.services.publish import publish
from alarms.services.quiet import close_quiet
from alarms.services.reports import own_report, store_reports
from alarms.services.situations import situation_of
from alarms.watchers import AlarmChange, tell_watchers
from fleet.models import Phase, Trip, UnitState
from fleet.readiness.assess import Answer
from fleet.readiness.facts import Facts, UnitFacts
from fleet.readiness.selectors import own_unit
from fleet.trips.due import LIVE


def assessed(trip: Trip, answer: Answer, now: datetime) -> None:
    """Judges by our own rules, closes what was quiet for long enough, and says how long there is time.

    When the trip has changed since the answer was worked out, nothing is done: the worker answers again at once.
    """
    if trip.version != answer.facts.trip.version:
        return
    facts = _as_stored(trip, answer.facts)
    alarms = _open_alarms(facts.unit.id)
    governing = _governs(trip, facts.unit.id)
    if governing and _judge(trip, answer, facts, alarms, now):
        alarms = _open_alarms(facts.unit.id)
    closed = close_quiet(alarms, newest_at=facts.unit.newest_at, policy=facts.policy, now=now)
    if closed:
        publish([facts.unit.id], now=now)
    if governing:
        _estimate([alarm for alarm in alarms if alarm not in closed], answer, now)


def _as_stored(trip: Trip, facts: Facts) -> Facts:
    """The answer's facts with the unit as it is now: reports may have arrived since the answer was worked out."""
    unit = own_unit(trip)
    state = UnitState.objects.for_fleet(trip.fleet_id).get(unit_id=facts.unit.id)
    if unit is None or state.version == facts.unit.version:
        return facts
    return replace(facts, unit=UnitFacts.from_rows(unit, unit.model, state))


def _open_alarms(unit_id: int) -> list[Alarm]:
    return list(Alarm.objects.across_fleets().filter(unit_id=unit_id, open_rank=1).order_by("pk"))


def _governs(trip: Trip, unit_id: int) -> bool:
    """Whether this trip is the one the unit is on: the one under way, else the one that leaves next.

    A unit planned for several trips would otherwise be judged by the limits of each in turn.
    """
    own = Q(assigned_unit_id=unit_id) | Q(assigned_unit__isnull=True, planned_unit_id=unit_id)
    live = Trip.objects.for_fleet(trip.fleet_id).filter(own, state__in=LIVE)
    in_turn = live.values_list("pk", "state", "depart_at")
    first = min(in_turn, key=lambda row: (row[1] != Trip.State.UNDER_WAY, row[2], row[0]), default=None)
    return first is not None and first[0] == trip.pk


def _judge(trip: Trip, answer: Answer, facts: Facts, alarms: Sequence[Alarm], now: datetime) -> bool:
    """Runs our own rules and stores what they found as events; says whether any record changed."""
    situation = situation_of(trip, facts, answer.findings, alarms, now=now)
    reports = [own_report(facts.unit.id, ruling.code, raised=ruling.raised, at=now) for ruling in judge_all(situation)]
    return bool(reports) and bool(store_reports(trip.fleet_id, reports, now=now).units)


def _estimate(alarms: Sequence[Alarm], answer: Answer, now: datetime) -> None:
    """Keeps the newest time to damage on the open alarms that put the load at risk."""
    facts = answer.facts
    under_way = facts.trip.phase is Phase.UNDER_WAY
    damage = damage_of(answer.extras, limit_c=facts.trip.damage_c) if under_way else None
    for alarm in alarms:
        at_risk = alarm.tier == Tier.STOP or alarm.code == HEAT_LOST
        _keep_estimate(alarm, damage if at_risk else None, now)


def _keep_estimate(alarm: Alarm, damage: Damage | None, now: datetime) -> None:
    had = (alarm.damage_after_h, alarm.damage_at, alarm.damage_limit_c)
    news = (damage.after_h, damage.at, damage.limit_c) if damage is not None else (None, None, None)
    if had == news:
        return
    alarm.damage_after_h, alarm.damage_at, alarm.damage_limit_c = news
    alarm.save(update_fields=["damage_after_h", "damage_at", "damage_limit_c"])
    if had[1] is None:
        tell_watchers(alarm, AlarmChange.DAMAGE_ESTIMATED, now=now)
