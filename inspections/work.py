"""The list of work to plan: services by the plan, open defects and wear, alarms to watch. Reads only."""

from __future__ import annotations

from datetime import datetime
from statistics import median
from typing import Any

from fleet.models import Fleet
from fleet.readiness.selectors import units_of_fleet
from inspections.models import Defect
from inspections.plan import plan_of
from inspections.standing import PRE_TRIP_FACT

ALARMS_FACT = "alarms.open"


def work_list(fleet: Fleet, *, now: datetime, number: str | None = None) -> list[dict[str, Any]]:
    """Units in service with what is due or open on each, most urgent first. Two statements."""
    entries = []
    for unit in units_of_fleet(fleet.pk, numbers=None if number is None else [number]):
        plan = plan_of(unit, now)
        standing = unit.facts[PRE_TRIP_FACT].value if PRE_TRIP_FACT in unit.facts else {}
        alarms = (unit.facts[ALARMS_FACT].value or []) if ALARMS_FACT in unit.facts else []
        entries.append(
            (
                plan.sort_key(),
                {
                    "unit": unit.number,
                    "service": str(plan.due),
                    "serviced_on": unit.serviced_on,
                    "serviced_at_h": unit.serviced_at_h,
                    "due_at_h": plan.due_at_h,
                    "hours_left_h": plan.hours_left_h,
                    "due_on": plan.due_on,
                    "days_left": plan.days_left,
                    "defects": standing.get("defects", []),
                    "wear": standing.get("wear", []),
                    "watch_alarms": [alarm for alarm in alarms if alarm.get("tier") == "watch"],
                },
            )
        )
    return [entry for _, entry in sorted(entries, key=lambda pair: (pair[0], pair[1]["unit"]))]


def failure_counts(fleet: Fleet, *, item: str | None = None) -> list[dict[str, Any]]:
    """How often each item failed, per unit model, and at how many engine hours: which belts fail, and when."""
    rows = Defect.objects.for_fleet(fleet).exclude(state=Defect.State.WITHDRAWN)
    if item is not None:
        rows = rows.filter(item=item)
    grouped: dict[tuple[str, str], list[Any]] = {}
    for row in rows.values_list("item", "unit__model__key", "label", "state", "engine_hours_h", "unit_id"):
        grouped.setdefault((row[0], row[1]), []).append(row)
    counts = []
    for (key, model), found in sorted(grouped.items()):
        hours = sorted(row[4] for row in found if row[4] is not None)
        counts.append(
            {
                "item": key,
                "label": found[-1][2],
                "unit_model": model,
                "defects": len(found),
                "units": len({row[5] for row in found}),
                "open": sum(row[3] != Defect.State.CLOSED for row in found),
                "engine_hours_min_h": hours[0] if hours else None,
                "engine_hours_median_h": median(hours) if hours else None,
                "engine_hours_max_h": hours[-1] if hours else None,
            }
        )
    return sorted(counts, key=lambda count: (-count["defects"], count["item"], count["unit_model"]))
