"""fleet.availability: is the unit in service and free for this trip?"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

import msgspec
from django.db import connection
from django.db.models import BooleanField, Q
from django.db.models.expressions import RawSQL

from fleet.durations import HOUR, hours
from fleet.id_lists import AMONG, FEW, listed
from fleet.models import Trip
from fleet.readiness.facts import Facts
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import PLANNED, Check, Words
from fleet.trips.due import LIVE

ID = "fleet.availability"
SOURCE = "rule: a unit serves one trip at a time"


class Engagement(msgspec.Struct, frozen=True, gc=False):
    """Another trip that holds the unit."""

    reference: str
    from_at: datetime
    until_at: datetime


def gather(many: Sequence[Facts], now: datetime) -> Mapping[tuple[int, int], list[Engagement]]:
    """Live trips of the same units, one query. A trip that is overdue at its last stop still holds its unit."""
    fleet_ids = {facts.fleet_id for facts in many}
    by_unit: dict[int, list[Engagement]] = {}
    rows = (
        Trip.objects.across_fleets()
        .filter(_holds_one_of({facts.unit.id for facts in many}), fleet_id__in=fleet_ids, state__in=LIVE)
        .order_by("depart_at", "id")
        .values_list("reference", "loading_at", "arrive_at", "state", "assigned_unit_id", "planned_unit_id")
    )
    for reference, loading_at, arrive_at, state, assigned_id, planned_id in rows:
        until_at = max(arrive_at, now) if state == Trip.State.UNDER_WAY else arrive_at
        engagement = Engagement(reference, loading_at, until_at)
        by_unit.setdefault(assigned_id or planned_id, []).append(engagement)
    return {
        (facts.trip.id, facts.unit.id): [
            # By reference, not by id: a preview of a stored trip is that trip, and has no id of its own.
            engagement
            for engagement in by_unit[facts.unit.id]
            if engagement.reference != facts.trip.reference
        ]
        for facts in many
        if facts.unit.id in by_unit
    }


def _holds_one_of(unit_ids: Collection[int]) -> Q | RawSQL:
    """The trips that hold one of these units. Few of them are parameters, which the planner looks at; of a thousand it
    learns nothing, and they cost the client 6 ms."""
    if len(unit_ids) <= FEW:
        return Q(assigned_unit_id__in=unit_ids) | Q(assigned_unit_id__isnull=True, planned_unit_id__in=unit_ids)
    ids = listed(unit_ids)
    return RawSQL(_HOLDS_ONE_OF[connection.vendor], [ids, ids], output_field=BooleanField())


_HOLDS_ONE_OF = {
    vendor: f"assigned_unit_id {among} OR (assigned_unit_id IS NULL AND planned_unit_id {among})"
    for vendor, among in AMONG.items()
}


def judge(facts: Facts, engagements: list[Engagement] | None, now: datetime) -> Finding:
    if not facts.unit.in_service:
        return _finding(Outcome.BLOCK, f"{facts.unit.number} is out of service.", remedy=_other_unit())
    gap_needed = hours(facts.policy.turn_round_h)
    starts_at, ends_at = facts.trip.loading_at, facts.trip.arrive_at
    tight: Finding | None = None
    for other in engagements or []:
        if other.from_at < ends_at and starts_at < other.until_at:
            text = f"{facts.unit.number} is on trip {other.reference} until {other.until_at:%Y-%m-%d %H:%M} UTC."
            return _finding(Outcome.BLOCK, text, remedy=_other_unit(), subjects=(other.reference,))
        gap = max(starts_at - other.until_at, other.from_at - ends_at)
        if gap < gap_needed and tight is None:
            gap_h = gap / HOUR
            tight = _finding(
                Outcome.CONCERN,
                f"Only {gap_h:.1f} h between this trip and {other.reference}; {facts.policy.turn_round_h:g} h wanted.",
                measured=round(gap_h, 2),
                required=facts.policy.turn_round_h,
            )
    return tight or _finding(Outcome.PASS, f"{facts.unit.number} is free for this trip.")


def _other_unit() -> Remedy:
    return Remedy(action="change_unit", text="Plan another unit, or move one of the two trips.")


def _finding(
    outcome: Outcome,
    message: str,
    *,
    remedy: Remedy | None = None,
    measured: float | None = None,
    required: float | None = None,
    subjects: tuple[str, ...] = (),
) -> Finding:
    return Finding(
        check=ID,
        outcome=outcome,
        message=message,
        source=SOURCE,
        remedy=remedy,
        measured=measured,
        required=required,
        unit="h" if measured is not None else "",
        subjects=subjects,
        releasable=False,
    )


CHECK = Check(
    id=ID,
    words=Words(
        asks="Is the unit in service and free for the whole trip?",
        blocks="the unit is out of service or on another trip that overlaps",
        concern="less than `turn_round_h` between two trips",
    ),
    judge=judge,
    gather=gather,
    phases=PLANNED,
)
