"""Takes photos in, ties them to observations, removes them."""

from __future__ import annotations

import logging
import uuid
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from functools import partial
from typing import Any

from django.core.files.base import ContentFile
from django.db import transaction

from fleet.errors import FieldError, InvalidInput, StorageFull, Unavailable, is_storage_full
from fleet.models import Fleet, Member
from fleet.records.audit import record_act
from inspections.models import Inspection, Observation, Photo
from inspections.models.photos import photo_storage
from inspections.pictures import picture_of

logger = logging.getLogger(__name__)

MOST_PER_INSPECTION = 40


def store_photo(fleet: Fleet, upload: bytes, *, by: Member, now: datetime) -> Photo:
    """Stores a picture that no observation names yet. *Raises* NotAPhoto; Unavailable, StorageFull when it cannot be
    written."""
    picture = picture_of(upload)
    storage = photo_storage()
    wanted = f"{fleet.pk}/{uuid.uuid4().hex}.jpg"
    try:
        name = storage.save(wanted, ContentFile(picture.content))
    except OSError as error:
        logger.exception("A photo could not be written")
        with suppress(OSError):
            storage.delete(wanted)  # what fitted of it
        if is_storage_full(error):
            raise StorageFull("There is no room left for the photo. Nothing was stored.") from error
        raise Unavailable("The photo could not be stored. Repeat the request later.") from error
    try:
        with transaction.atomic():
            row = Photo.objects.create(
                fleet=fleet,
                file=name,
                sha256=picture.sha256,
                size_bytes=len(picture.content),
                width_px=picture.width_px,
                height_px=picture.height_px,
                uploaded_by=by,
                uploaded_at=now,
            )
            record_act(by, act="photo.stored", subject=row, at=now, content={"sha256": row.sha256})
            return row
    except BaseException:
        storage.delete(name)
        raise


def tie_photos(row: Inspection, documents: Sequence[Mapping[str, Any]]) -> None:
    """Ties the photos that observations name to them. An item given again loses those it no longer names.

    *Raises* InvalidInput for photos that are not there or are tied to something else.
    """
    named = {one["item"]: one["photos"] for one in documents if one.get("photos") is not None}
    if not named:
        return
    wanted = [pk for pks in named.values() for pk in pks]
    if len(wanted) > MOST_PER_INSPECTION:
        detail = f"An inspection has {MOST_PER_INSPECTION} photos at most."
        raise InvalidInput.at("/observations", "too-many-photos", detail)
    by_item = {seen.item: seen for seen in Observation.objects.for_fleet(row.fleet_id).filter(inspection=row)}
    photos = {photo.pk: photo for photo in Photo.objects.for_fleet(row.fleet_id).filter(pk__in=wanted)}
    faults: list[FieldError] = []
    for index, one in enumerate(documents):
        seen = by_item[one["item"]]
        for place, pk in enumerate(named.get(one["item"], ())):
            photo = photos.get(pk)
            if photo is None or photo.observation_id not in (None, seen.pk) or wanted.count(pk) > 1:
                at = f"/observations/{index}/photos/{place}"
                faults.append(FieldError(at, "unknown-photo", "There is no such photo that is free."))
    if faults:
        raise InvalidInput(errors=faults)
    rows = Photo.objects.for_fleet(row.fleet_id)
    for item, pks in named.items():
        rows.filter(observation=by_item[item]).exclude(pk__in=pks).update(observation=None)
        rows.filter(pk__in=pks).update(observation=by_item[item])


def drop_photos(rows: Sequence[Photo]) -> None:
    """Removes rows now and their files once that has committed: a file without a row is harmless, the other way not."""
    for row in rows:
        name = str(row.file.name)
        row.delete()
        transaction.on_commit(partial(_drop_file, name), robust=True)


def _drop_file(name: str) -> None:
    photo_storage().delete(name)
