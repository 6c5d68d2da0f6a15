"""Photos of what was seen."""

from __future__ import annotations

from django.conf import settings
from django.core.files.storage import FileSystemStorage, InvalidStorageError, Storage, storages
from django.db import models

from fleet.models import FleetRow
from inspections.models.filled import Observation


def photo_storage() -> Storage:
    """The storage called `photos` in the settings, else a folder beside the embedded database."""
    try:
        return storages["photos"]
    except InvalidStorageError:
        return FileSystemStorage(location=settings.STATE_DIR / "photos")


class Photo(FleetRow):
    """One picture, stored as our own JPEG. It belongs to nothing until an observation names it; a signed one stays."""

    observation = models.ForeignKey(Observation, null=True, blank=True, on_delete=models.PROTECT, related_name="photos")
    file = models.FileField(storage=photo_storage, max_length=200)
    sha256 = models.CharField(max_length=64, help_text="Of the stored file.")
    size_bytes = models.PositiveIntegerField()
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    uploaded_by = models.ForeignKey("fleet.Member", on_delete=models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField()

    class Meta:
        indexes = [
            models.Index(fields=["fleet", "-id"], name="photo_by_fleet"),
            models.Index(fields=["uploaded_at"], name="photo_loose", condition=models.Q(observation__isnull=True)),
        ]

    def __str__(self) -> str:
        return f"photo {self.pk}"
