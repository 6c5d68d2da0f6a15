"""Sensors that show one value although what they measure must have moved: found in the stored readings by a chore.

Readiness reads the newest value of each field only, so a sensor that froze an hour ago looks as good as any. This looks
at the readings of units that are on a live trip, keeps what it finds as the unit fact `fleet.flat_sensors`, and makes
their trips due when that changes. The check `fleet.telemetry` says what follows.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Count, F, Max, Min, Q
from django.db.models.functions import Coalesce

from fleet.models import Reading, Trip, UnitState
from fleet.trips.due import LIVE, make_due
from fleet.units.state import put_facts

FACT = "fleet.flat_sensors"
SOURCE = "fleet"


@dataclass(frozen=True, slots=True)
class Watch:
    """How long one value, to the last digit, is too long. Hours and counts are assumptions, chosen far on the safe
    side: a thermostat's air swings by a kelvin or more in each of its cycles, of which six hours hold several."""

    field: str
    within: timedelta
    readings: int
    cycling: bool
    """Only while the heater was seen both running and at rest, so that the air had to move."""


WATCHES = (
    Watch("return_air_c", timedelta(hours=6), readings=24, cycling=True),
    Watch("discharge_air_c", timedelta(hours=6), readings=24, cycling=True),
    Watch("ambient_c", timedelta(hours=24), readings=48, cycling=False),
)
LONGEST = max(watch.within for watch in WATCHES)


def find_flat_sensors(now: datetime) -> int:
    """Looks at every unit of a live trip, stores what changed, and says for how many units it did."""
    unit_ids = _units_on_live_trips()
    found = flat_sensors_of(unit_ids, now=now)
    with transaction.atomic():
        known = {
            unit_id: facts.get(FACT, [[]])[0]
            for unit_id, facts in UnitState.objects.across_fleets()
            .filter(unit_id__in=unit_ids)
            .values_list("unit_id", "facts")
        }
        changed = {
            unit_id: {FACT: found.get(unit_id, [])} for unit_id in known if known[unit_id] != found.get(unit_id, [])
        }
        put_facts(changed, at=now, source=SOURCE)
        make_due(changed.keys(), at=now)
    return len(changed)


def flat_sensors_of(unit_ids: Collection[int], *, now: datetime) -> dict[int, list[str]]:
    """Names of the fields of each unit whose newest source has shown one value for too long; one statement."""
    rows: Iterable[Mapping[str, Any]] = (
        Reading.objects.across_fleets()
        .filter(unit_id__in=unit_ids, at__gt=now - LONGEST, at__lte=now)
        .values("unit_id", "source_id")
        .annotate(**_measures(now))
        .order_by("unit_id", "source_id")
    )
    flat: dict[int, dict[str, list[tuple[datetime, bool]]]] = {}
    for row in rows:
        for watch in WATCHES:
            newest_at = row[f"{watch.field}_newest"]
            if newest_at is not None:
                flat.setdefault(row["unit_id"], {}).setdefault(watch.field, []).append(
                    (newest_at, _is_flat(watch, row))
                )
    return {
        unit_id: names
        for unit_id, fields in flat.items()
        if (names := sorted(name for name, seen in fields.items() if max(seen)[1]))
    }


def _units_on_live_trips() -> list[int]:
    trips = Trip.objects.across_fleets().filter(state__in=LIVE)
    ids = trips.annotate(own_id=Coalesce("assigned_unit_id", "planned_unit_id")).filter(own_id__isnull=False)
    return sorted(set(ids.values_list("own_id", flat=True)))


def _measures(now: datetime) -> dict[str, Any]:
    """What one source said of each watched field in its time: how often, between what, and when last."""
    measures: dict[str, Any] = {}
    for watch in WATCHES:
        there = Q(at__gt=now - watch.within) & Q(**{f"{watch.field}__isnull": False})
        measures |= {
            f"{watch.field}_count": Count("at", filter=there),
            f"{watch.field}_low": Min(F(watch.field), filter=there),
            f"{watch.field}_high": Max(F(watch.field), filter=there),
            f"{watch.field}_newest": Max("at", filter=there),
            f"{watch.field}_ran": Count("at", filter=there & Q(heater_running=True)),
            f"{watch.field}_rested": Count("at", filter=there & Q(heater_running=False)),
        }
    return measures


def _is_flat(watch: Watch, row: Mapping[str, Any]) -> bool:
    if row[f"{watch.field}_count"] < watch.readings or row[f"{watch.field}_low"] != row[f"{watch.field}_high"]:
        return False
    return not watch.cycling or min(row[f"{watch.field}_ran"], row[f"{watch.field}_rested"]) >= 2
