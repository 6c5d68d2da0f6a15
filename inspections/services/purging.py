"""Removes records that are older than the operator keeps them. The removal of each is itself an audit entry."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from functools import partial

from django.db import transaction
from django.db.models import ProtectedError, Q

from fleet.checks.service_due import months_before
from fleet.clock import text_of
from fleet.models import Fleet
from fleet.records.audit import record_act
from fleet.units.state import lock_states
from inspections.models import Defect, Inspection, Observation, Photo, Repair, ServiceRecord, Signature
from inspections.services.photos import drop_photos
from inspections.signing import OLDEST
from inspections.standing import publish_progress

logger = logging.getLogger(__name__)
BATCH = 200
LOOSE_PHOTO = timedelta(days=7)
"""A photo no observation has named for this long is removed."""
CLOSED = (Defect.State.CLOSED, Defect.State.WITHDRAWN)


def purge_records(*, now: datetime, keep_months: int, limit: int = BATCH) -> int:
    """Removes signed inspections and services older than *keep_months*, drafts nobody signed, and loose photos.

    An inspection stays as long as one of its defects is open or a younger record refers to it; the newest service of a
    unit stays. Returns how many records went. Safe to run at any time, repeatedly; *limit* bounds each kind.
    """
    before = months_before(now, keep_months)
    gone = 0
    open_ones = Defect.objects.across_fleets().exclude(state__in=CLOSED).values("opened_by__inspection")
    first = Inspection.objects.across_fleets().filter(refers_to__isnull=True, supersedes__isnull=True)
    old = first.exclude(state=Inspection.State.DRAFT).filter(performed_at__lt=before).exclude(pk__in=open_ones)
    for pk in old.order_by("performed_at", "pk").values_list("pk", flat=True)[:limit]:
        gone += _attempt(partial(_purge_family, pk, before, now))
    drafts = Inspection.objects.across_fleets().filter(state=Inspection.State.DRAFT, started_at__lt=now - OLDEST)
    for pk in drafts.order_by("pk").values_list("pk", flat=True)[:limit]:
        gone += _attempt(partial(_purge_family, pk, now, now))
    for fleet in Fleet.objects.order_by("pk"):
        gone += _purge_services(fleet, before, now, limit)
    return gone + _purge_photos(now, limit)


def _attempt(work: partial[int]) -> int:
    """How many records went; 0 when something that stays still leans on one of them."""
    try:
        with transaction.atomic():
            return work()
    except ProtectedError:
        return 0


def _purge_family(pk: int, before: datetime, now: datetime) -> int:
    """Removes an inspection with its corrections and re-checks, which go together or not at all."""
    first = Inspection.objects.across_fleets().select_related("unit").get(pk=pk)
    lock_states([first.unit_id])
    family = _family(first)
    if any(row.performed_at >= before for row in family):
        return 0
    seen = Observation.objects.for_fleet(first.fleet_id).filter(inspection__in=family)
    Defect.objects.for_fleet(first.fleet_id).filter(opened_by__in=seen, state__in=CLOSED).delete()
    repairs = Repair.objects.for_fleet(first.fleet_id).filter(observation__in=seen)
    Signature.objects.for_fleet(first.fleet_id).filter(repair__in=repairs).delete()
    repairs.delete()
    drop_photos(list(Photo.objects.for_fleet(first.fleet_id).filter(observation__in=seen)))
    seen.delete()
    Signature.objects.for_fleet(first.fleet_id).filter(inspection__in=family).delete()
    for row in reversed(family):
        content = {
            "unit": first.unit.number,
            "sheet": str(row.sheet),
            "state": str(row.state),
            "performed_at": text_of(row.performed_at),
            "content_hash": row.content_hash,
        }
        record_act(None, act="inspection.purged", subject=row, at=now, content=content)
        row.delete()
    if first.state == Inspection.State.DRAFT:
        publish_progress(first.unit, now=now)
    return len(family)


def _family(first: Inspection) -> list[Inspection]:
    """The inspection, what supersedes it, and the re-checks of each, by id: later ones lean on earlier ones."""
    known = {first.pk: first}
    new = [first.pk]
    rows = Inspection.objects.for_fleet(first.fleet_id).select_related("sheet")
    while new:
        found = rows.filter(Q(supersedes__in=new) | Q(refers_to__in=new)).exclude(pk__in=known)
        new = [row.pk for row in found]
        known |= {row.pk: row for row in found}
    return [known[pk] for pk in sorted(known)]


def _purge_services(fleet: Fleet, before: datetime, now: datetime, limit: int) -> int:
    rows = ServiceRecord.objects.for_fleet(fleet)
    newest = dict(rows.order_by("performed_at", "pk").values_list("unit_id", "pk"))
    old = rows.filter(performed_at__lt=before).exclude(pk__in=newest.values()).select_related("unit").order_by("pk")
    purged = 0
    for row in old[:limit]:
        with transaction.atomic():
            content = {"unit": row.unit.number, "content_hash": row.content_hash}
            record_act(None, act="service.purged", subject=row, at=now, content=content)
            Signature.objects.for_fleet(fleet).filter(service=row).delete()
            row.delete()
        purged += 1
    return purged


def _purge_photos(now: datetime, limit: int) -> int:
    loose = Photo.objects.across_fleets().filter(observation__isnull=True, uploaded_at__lt=now - LOOSE_PHOTO)
    rows = list(loose.order_by("pk")[:limit])
    with transaction.atomic():
        for row in rows:
            record_act(None, act="photo.purged", subject=row, at=now, content={"sha256": row.sha256})
        drop_photos(rows)
    return len(rows)
