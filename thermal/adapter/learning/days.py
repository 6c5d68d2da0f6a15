"""Learns from whole days: finds units with new readings, works their days out, keeps what came of it.

A day is worked out from the readings in its window alone, so it does not matter in which order days are learned, how
often, or in how many rounds. Readings that arrive late change the counts of their hours, and the days they touch are
worked out again for as long as `LOOK_BACK`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Count, F, OuterRef, Q, Subquery
from django.db.models.functions import TruncHour

from fleet.events import LEARNED_TYPE, tell
from fleet.models import Reading, Unit, UnitState
from fleet.readiness.facts import UnitFacts
from fleet.units.state import lock_states, put_facts
from thermal.adapter.knowledge import HEATER_FACT, K_FACT
from thermal.adapter.learning.build import begins_at, mark_of, plant_for, reference_for
from thermal.adapter.learning.documents import day_of, document_of_condition, document_of_day
from thermal.adapter.learning.findings import judge_condition, judge_fuel, to_look_at
from thermal.adapter.learning.rows import Row, readings_from, rows_between
from thermal.adapter.models import LearnedDay, UnitLearning
from thermal.health.condition import Condition, Reference, condition_of
from thermal.health.day import AFTER_S, BEFORE_S, DAY_S, Day, learn_day
from thermal.health.readings import Plant

EVERY = timedelta(hours=1)
"""A unit's days are looked at so often at most."""
LOOK_BACK = timedelta(days=21)
"""Late readings are taken in for so long, and a unit that is new to learning begins so far back."""
KEEP = timedelta(days=90)
"""Days count towards the present condition for so long."""
UNITS_AT_ONCE = 20
LOOK_AT_FACT = "fleet.look_at"
"""Unit fact: [{"item", "why"}] what the next inspection is asked to look at closely."""
SAME = 0.005
"""A fact is published again when a value in it moved by more than this share: each one makes answers old."""
WINDOW_BEFORE, WINDOW_AFTER = timedelta(seconds=BEFORE_S), timedelta(seconds=AFTER_S)
ONE_DAY = timedelta(seconds=DAY_S)


def learn_due(*, now: datetime, at_most: int = UNITS_AT_ONCE) -> int:
    """Learns from units whose readings are newer than what was learned, longest waiting first; how many there were."""
    known = UnitLearning.objects.across_fleets().filter(unit_id=OuterRef("unit_id"))
    states = (
        UnitState.objects.across_fleets()
        .filter(newest_at__isnull=False)
        .annotate(learned_at=Subquery(known.values("learned_at")), learned_to=Subquery(known.values("learned_to")))
        .filter(Q(learned_at__isnull=True) | Q(learned_at__lte=now - EVERY, newest_at__gt=F("learned_to")))
        .order_by(F("learned_at").asc(nulls_first=True), "unit_id")
    )
    waiting = list(states.values_list("unit_id", flat=True)[:at_most])
    for unit_id in waiting:
        learn_unit(unit_id, now=now)
    return len(waiting)


def learn_unit(unit_id: int, *, now: datetime) -> Condition | None:
    """Works out the days of one unit that are new or changed, and what all of them come to. None: not enough design.

    The arithmetic runs before the unit's state is locked, so that learning never makes ingest wait for it.
    """
    facts, newest_at = _facts(unit_id)
    plant = plant_for(facts)
    fresh = {} if plant is None else _fresh_days(unit_id, plant, newest_at=newest_at, since=begins_at(facts))
    with transaction.atomic():
        lock_states([unit_id])
        facts, _ = _facts(unit_id)
        row, _ = UnitLearning.objects.across_fleets().get_or_create(
            unit_id=unit_id, defaults={"fleet_id": _fleet_of(unit_id)}
        )
        row.learned_at, row.learned_to = now, newest_at
        condition = None
        if plant is not None:
            _store_days(row, fresh)
            days = _days_of(unit_id, plant, since=begins_at(facts), until=newest_at)
            reference = reference_for(facts, now)
            condition = condition_of(days, plant, reference)
            row.condition = document_of_condition(condition) | {"reference": reference.source}
            _publish(row, condition, reference, days, plant, now=now)
        row.save(update_fields=["learned_at", "learned_to", "condition"])
    return condition


def _facts(unit_id: int) -> tuple[UnitFacts, datetime]:
    unit = Unit.objects.across_fleets().select_related("model", "state").get(pk=unit_id)
    assert unit.state.newest_at is not None
    return UnitFacts.from_rows(unit, unit.model, unit.state), unit.state.newest_at


def _fleet_of(unit_id: int) -> int:
    return int(Unit.objects.across_fleets().values_list("fleet_id", flat=True).get(pk=unit_id))


def _fresh_days(
    unit_id: int, plant: Plant, *, newest_at: datetime, since: datetime | None
) -> dict[date, tuple[str, Day]]:
    """Days whose readings or design are not those they were worked out from, worked out now."""
    first = _midnight(max(newest_at - LOOK_BACK, since or newest_at - LOOK_BACK))
    hours = _counts(unit_id, first - WINDOW_BEFORE, newest_at)
    if not hours:
        return {}
    known = dict(
        LearnedDay.objects.across_fleets()
        .filter(unit_id=unit_id, day__gte=first.date())
        .values_list("day", "made_from")
    )
    wanted: dict[date, str] = {}
    for number in range((newest_at - first).days + 1):
        start = first + number * ONE_DAY
        made_from = _made_from(hours, start, mark_of(plant), since)
        if made_from and known.get(start.date()) != made_from:
            wanted[start.date()] = made_from
    if not wanted:
        return {}
    begin, end = _midnight_of(min(wanted)), _midnight_of(max(wanted)) + ONE_DAY
    rows = rows_between([unit_id], max(begin - WINDOW_BEFORE, since or begin - WINDOW_BEFORE), end + WINDOW_AFTER)
    return {day: (made_from, _work_out(rows, plant, day)) for day, made_from in wanted.items()}


def _work_out(rows: Sequence[Row], plant: Plant, day: date) -> Day:
    start = _midnight_of(day)
    low, high = start - WINDOW_BEFORE, start + ONE_DAY + WINDOW_AFTER
    readings = readings_from([row for row in rows if low <= row[1] < high])
    return learn_day(readings, plant, number=int(start.timestamp() // DAY_S), start_s=start.timestamp())


def _counts(unit_id: int, since: datetime, until: datetime) -> dict[datetime, int]:
    """Readings per hour."""
    rows = (
        Reading.objects.across_fleets()
        .filter(unit_id=unit_id, at__gte=since, at__lte=until)
        .annotate(hour=TruncHour("at", tzinfo=UTC))
        .values_list("hour")
        .annotate(n=Count("at"))
    )
    return dict(rows)


def _made_from(hours: Mapping[datetime, int], start: datetime, mark: str, since: datetime | None) -> str:
    """A short word for the readings in a day's window, the design and where the unit's history begins; empty without
    readings in the day itself."""
    window = [(start - WINDOW_BEFORE + timedelta(hours=h)) for h in range(32)]
    counts = [hours.get(hour, 0) for hour in window]
    if not any(counts[6:30]):
        return ""
    begins = str(since) if since is not None and since > start - WINDOW_BEFORE else ""
    return hashlib.blake2b(repr((counts, mark, begins)).encode(), digest_size=16).hexdigest()


def _store_days(row: UnitLearning, fresh: Mapping[date, tuple[str, Day]]) -> None:
    LearnedDay.objects.bulk_create(
        [
            LearnedDay(
                fleet_id=row.fleet_id, unit_id=row.unit_id, day=day, made_from=made_from, told=document_of_day(told)
            )
            for day, (made_from, told) in sorted(fresh.items())
        ],
        update_conflicts=True,
        unique_fields=["unit", "day"],
        update_fields=["made_from", "told"],
    )


def _days_of(unit_id: int, plant: Plant, *, since: datetime | None, until: datetime) -> list[Day]:
    """Stored days that count now, in order."""
    begin = max(until - KEEP, since or until - KEEP).date()
    rows = LearnedDay.objects.across_fleets().filter(unit_id=unit_id, day__gte=begin).order_by("day")
    return [day_of(told) for told in rows.values_list("told", flat=True)]


def _publish(
    row: UnitLearning, condition: Condition, reference: Reference, days: Sequence[Day], plant: Plant, *, now: datetime
) -> None:
    """Puts the facts that forecasts and inspections read, and tells what was found."""
    findings = judge_condition(row.unit_id, condition, plant, at=now)
    news = facts_of(condition, reference) | {LOOK_AT_FACT: to_look_at(findings)}
    known = UnitState.objects.across_fleets().values_list("facts", flat=True).get(unit_id=row.unit_id)
    moved = {name: value for name, value in news.items() if not _same(known.get(name, [None])[0], value)}
    if moved:
        put_facts({row.unit_id: moved}, at=now, source="learning")
    tell(LEARNED_TYPE, row.fleet_id, [*findings, *judge_fuel(row.unit_id, days, now=now)], now=now)


def facts_of(condition: Condition, reference: Reference) -> dict[str, Any]:
    """What forecasts may take for the unit; None where its paper or test stands."""
    k, output, burn = condition.cautious_k(reference), condition.cautious_output(), condition.cautious_burn()
    heater: dict[str, float] = {}
    if output is not None:
        heater |= {"output": round(output.mean, 4), "output_sd_ln": round(output.sd_ln, 3)}
    if burn is not None:
        heater |= {"burn": round(burn.mean, 4), "burn_sd_ln": round(burn.sd_ln, 3)}
    if condition.gauge_high_l is not None:
        heater["gauge_high_l"] = round(condition.gauge_high_l, 1)
    hours = round(condition.hours)
    return {
        K_FACT: None if k is None else {"k_w_m2k": round(k.mean, 4), "sd_ln": round(k.sd_ln, 3), "hours": hours},
        HEATER_FACT: {**heater, "hours": hours} if heater else None,
    }


def _same(old: Any, new: Any) -> bool:
    """Whether a published value is near enough; hours of data alone are no news."""
    if not isinstance(old, dict) or not isinstance(new, dict):
        return bool(old == new) or (not old and not new)
    names = (old.keys() | new.keys()) - {"hours"}
    return all(name in old and name in new and abs(old[name] - new[name]) <= SAME * abs(old[name]) for name in names)


def _midnight(at: datetime) -> datetime:
    return at.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)


def _midnight_of(day: date) -> datetime:
    return datetime.combine(day, datetime.min.time(), tzinfo=UTC)
