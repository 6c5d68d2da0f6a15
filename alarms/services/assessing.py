"""What happens to a unit's alarms when an answer about its trip is stored: our own rules, the quiet, the time left.

Called inside the assess transaction with the unit's state and the trip locked. For a unit without a live trip nothing
here runs: nobody is waiting for it, and its next trip looks at it again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from django.db.models import Exists, Q, QuerySet

from alarms.damage import Damage, damage_of
from alarms.learned import HEAT_CODES
from alarms.models import Alarm, Tier
from alarms.rules import judge_all
from alarms.services.publish import OPEN_COUNT, publish
from alarms.services.quiet import close_quiet
from alarms.services.reports import store_rulings
from alarms.services.situations import situation_of
from alarms.watchers import AlarmChange, tell_watchers
from fleet.models import Phase, Trip, UnitState
from fleet.readiness.assess import Answer
from fleet.readiness.facts import Facts, UnitFacts
from fleet.readiness.selectors import own_unit


def assessed(trip: Trip, answer: Answer, now: datetime) -> None:
    """Judges by our own rules, closes what was quiet for long enough, and says how long there is time.

    When the trip has changed since the answer was worked out, nothing is done: the worker answers again at once.
    """
    if trip.version != answer.facts.trip.version:
        return
    facts, governing = _look(trip, answer.facts)
    alarms = _open_alarms(facts.unit)
    if governing and _judge(trip, answer, facts, now):
        alarms = _load_open(facts.unit.id)
    closed = close_quiet(alarms, newest_at=facts.unit.newest_at, policy=facts.policy, now=now)
    if closed:
        publish([facts.unit.id], now=now)
    if governing:
        _estimate([alarm for alarm in alarms if alarm not in closed], answer, now)


def _look(trip: Trip, facts: Facts) -> tuple[Facts, bool]:
    """The facts with the unit as it is now, and whether this trip is the one to judge it by; one statement.

    Reports may have arrived since the answer was worked out. A unit planned for several trips is judged by the one
    it is on (under way, else leaving next): the limits of each in turn would raise and clear the same alarm for ever.
    """
    unit_id = facts.unit.id
    state = (
        UnitState.objects.for_fleet(trip.fleet_id)
        .annotate(outranked=Exists(_before(trip, unit_id)))
        .get(unit_id=unit_id)
    )
    if state.version != facts.unit.version and (unit := own_unit(trip)) is not None:
        facts = replace(facts, unit=UnitFacts.from_rows(unit, unit.model, state))
    return facts, not state.outranked


def _before(trip: Trip, unit_id: int) -> QuerySet[Trip]:
    """Live trips of the unit that come before this one: those under way, then those that leave earlier."""
    own = Q(assigned_unit_id=unit_id) | Q(assigned_unit__isnull=True, planned_unit_id=unit_id)
    earlier = Q(state=trip.state) & (Q(depart_at__lt=trip.depart_at) | Q(depart_at=trip.depart_at, pk__lt=trip.pk))
    if trip.state != Trip.State.UNDER_WAY:
        earlier |= Q(state=Trip.State.UNDER_WAY)
    rows: QuerySet[Trip] = Trip.objects.for_fleet(trip.fleet_id).filter(own, earlier).exclude(pk=trip.pk)
    return rows


def _open_alarms(unit: UnitFacts) -> list[Alarm]:
    """The unit's open alarms; no statement when the facts say that there are none."""
    counted = unit.facts.get(OPEN_COUNT)
    return _load_open(unit.id) if counted is not None and counted.value else []


def _load_open(unit_id: int) -> list[Alarm]:
    return list(Alarm.objects.across_fleets().filter(unit_id=unit_id, open_rank=1).order_by("pk"))


def _judge(trip: Trip, answer: Answer, facts: Facts, now: datetime) -> bool:
    """Runs our own rules and stores what they found as events; says whether any record changed."""
    situation = situation_of(trip, answer, facts, now=now)
    rulings = judge_all(situation)
    if not rulings:
        return False
    return store_rulings(trip.fleet_id, facts.unit.id, rulings, known=situation.open_codes, now=now)


def _estimate(alarms: Sequence[Alarm], answer: Answer, now: datetime) -> None:
    """Keeps the newest time to damage on the open alarms that put the load at risk."""
    facts = answer.facts
    under_way = facts.trip.phase is Phase.UNDER_WAY
    damage = damage_of(answer.extras, limit_c=facts.trip.damage_c) if under_way else None
    for alarm in alarms:
        at_risk = alarm.tier == Tier.STOP or alarm.code in HEAT_CODES
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
