"""What happens to units' alarms when answers about their trips are stored: our own rules, the quiet, the time left.

Called inside the assess transaction with the units' states and the trips locked, for a whole batch: as many statements
for fifty trips as for one, beside what really changes (a record that closes: its row, its audit entry, its notice).
For a unit without a live trip nothing here runs: nobody is waiting for it, and its next trip looks at it again.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q
from msgspec.structs import replace

from alarms.damage import Damage, damage_of
from alarms.learned import HEAT_CODES
from alarms.models import Alarm, Tier
from alarms.rules import judge_all
from alarms.services.publish import OPEN_COUNT, publish
from alarms.services.quiet import close_quiet
from alarms.services.reports import Found, store_all_rulings
from alarms.services.situations import situations_of
from alarms.watchers import AlarmChange, tell_watchers
from fleet.models import Phase, Trip, UnitState
from fleet.readiness.assess import Answer
from fleet.readiness.facts import Facts, UnitFacts
from fleet.readiness.selectors import own_unit
from fleet.trips.due import LIVE


@dataclass(frozen=True, slots=True)
class Look:
    """One unit by its answer."""

    trip: Trip
    answer: Answer
    facts: Facts
    """The facts of the answer with the unit as it is now: reports may have arrived since it was worked out."""
    governing: bool
    """Whether this trip is the one to judge the unit by."""


def assessed(stored: Sequence[tuple[Trip, Answer]], now: datetime) -> None:
    """Judges by our own rules, closes what was quiet for long enough, and says how long there is time.

    Where the trip has changed since the answer was worked out, nothing is done: the worker answers again at once.
    """
    looks = _looks([(trip, answer) for trip, answer in stored if trip.version == answer.facts.trip.version])
    governing = [look for look in looks if look.governing]
    changed = _judge(governing, now)
    alarms = _open_alarms(looks, changed)
    closed: list[Alarm] = []
    for facts in {look.facts.unit.id: look.facts for look in looks}.values():
        own = alarms.get(facts.unit.id, [])
        closed += close_quiet(own, newest_at=facts.unit.newest_at, policy=facts.policy, now=now)
    publish({alarm.unit_id for alarm in closed}, now=now)
    _estimate(governing, alarms, {alarm.pk for alarm in closed}, now)


def _looks(stored: Sequence[tuple[Trip, Answer]]) -> list[Look]:
    """Units as they are now, with the trips that govern them; two statements."""
    if not stored:
        return []
    ids = {answer.facts.unit.id for _, answer in stored}
    states = {state.unit_id: state for state in UnitState.objects.across_fleets().filter(unit_id__in=ids)}
    first = _governing_trips(ids)
    looks = []
    for trip, answer in stored:
        facts, unit = answer.facts, own_unit(trip)
        state = states[facts.unit.id]
        if state.version != facts.unit.version and unit is not None:
            facts = replace(facts, unit=UnitFacts.from_rows(unit, unit.model, state))
        looks.append(Look(trip, answer, facts, first.get(facts.unit.id) == trip.pk))
    return looks


def _governing_trips(unit_ids: Collection[int]) -> dict[int, int]:
    """The id of the trip that each unit is on (under way, else the one that leaves next), by unit id.

    A unit planned for several trips is judged by one of them: the limits of each in turn would raise and clear the
    same alarm for ever.
    """
    own = Q(assigned_unit_id__in=unit_ids) | Q(assigned_unit__isnull=True, planned_unit_id__in=unit_ids)
    rows = Trip.objects.across_fleets().filter(own, state__in=LIVE)
    columns = rows.values_list("pk", "state", "depart_at", "assigned_unit_id", "planned_unit_id")
    first: dict[int, int] = {}
    for pk, _, _, assigned, planned in sorted(
        columns, key=lambda row: (row[1] != Trip.State.UNDER_WAY, row[2], row[0])
    ):
        first.setdefault(assigned or planned, pk)
    return first


def _judge(looks: Sequence[Look], now: datetime) -> set[int]:
    """Runs our own rules and stores what they found as events; says of which units a record changed."""
    asked = [(look.trip, look.answer, look.facts) for look in looks]
    found: dict[int, dict[int, Found]] = {}
    for look, situation in zip(looks, situations_of(asked, now=now), strict=True):
        rulings = judge_all(situation)
        if rulings:
            of_fleet = found.setdefault(look.trip.fleet_id, {})
            of_fleet[look.facts.unit.id] = Found(rulings, situation.open_codes)
    changed: set[int] = set()
    for fleet_id, of_units in sorted(found.items()):
        changed |= store_all_rulings(fleet_id, of_units, now=now)
    return changed


def _open_alarms(looks: Sequence[Look], changed: Collection[int]) -> dict[int, list[Alarm]]:
    """Open alarms by unit; no statement when the facts say that there are none."""
    ids = set(changed)
    for look in looks:
        counted = look.facts.unit.facts.get(OPEN_COUNT)
        if counted is not None and counted.value:
            ids.add(look.facts.unit.id)
    alarms: dict[int, list[Alarm]] = {}
    if ids:
        for alarm in Alarm.objects.across_fleets().filter(unit_id__in=ids, open_rank=1).order_by("pk"):
            alarms.setdefault(alarm.unit_id, []).append(alarm)
    return alarms


def _estimate(
    looks: Sequence[Look], alarms: Mapping[int, Sequence[Alarm]], closed: Collection[int], now: datetime
) -> None:
    """Keeps the newest time to damage on the open alarms that put a load at risk."""
    moved, news = [], []
    for look in looks:
        facts = look.answer.facts
        under_way = facts.trip.phase is Phase.UNDER_WAY
        damage = damage_of(look.answer.extras, limit_c=facts.trip.damage_c) if under_way else None
        for alarm in alarms.get(facts.unit.id, ()):
            at_risk = alarm.tier == Tier.STOP or alarm.code in HEAT_CODES
            had_none = alarm.damage_at is None
            if alarm.pk not in closed and _keep_estimate(alarm, damage if at_risk else None):
                moved.append(alarm)
                news += [alarm] if had_none else []
    if moved:
        columns = ["damage_after_h", "damage_at", "damage_limit_c"]
        Alarm.objects.across_fleets().bulk_update(moved, columns)
    for alarm in news:
        tell_watchers(alarm, AlarmChange.DAMAGE_ESTIMATED, now=now)


def _keep_estimate(alarm: Alarm, damage: Damage | None) -> bool:
    """Puts the estimate on the record; says whether it is another one."""
    had = (alarm.damage_after_h, alarm.damage_at, alarm.damage_limit_c)
    news = (damage.after_h, damage.at, damage.limit_c) if damage is not None else (None, None, None)
    alarm.damage_after_h, alarm.damage_at, alarm.damage_limit_c = news
    return had != news
