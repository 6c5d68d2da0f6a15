"""Takes a draft back that nobody signed: it goes, and the entry about it stays."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from fleet.models import Fleet, Member
from fleet.retry import on_conflict
from inspections.models import Observation, Photo
from inspections.services.acts import finish_act
from inspections.services.filing import locked_draft
from inspections.services.photos import drop_photos
from inspections.standing import publish_progress


def discard_draft(fleet: Fleet, pk: int, *, revision: int | None, by: Member, now: datetime) -> None:
    """Removes a draft with its observations and photos. What it said is kept in the audit entry, in short.

    From here on the unit counts as not being inspected. *Raises* NotFound, AlreadySigned, StaleRevision.
    """

    def work() -> None:
        with transaction.atomic():
            row, unit = locked_draft(fleet, pk, revision)
            seen = Observation.objects.for_fleet(fleet).filter(inspection=row)
            content = {
                "sheet": str(row.sheet),
                "started_by": str(row.started_by),
                "outcomes": {one.item: str(one.outcome) for one in seen.order_by("position")},
            }
            finish_act(by, act="inspection.discarded", subject=row, unit=unit, now=now, content=content)
            drop_photos(list(Photo.objects.for_fleet(fleet).filter(observation__in=seen)))
            seen.delete()
            row.delete()
            publish_progress(unit, now=now)

    on_conflict(work)
