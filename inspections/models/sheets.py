"""Sheets: versioned lists of items to look at."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models import ScopedManager


class Sheet(models.Model):
    """One version of one sheet; never changed once an inspection uses it.

    Rows without a fleet are the built-in sheets (`inspections/sheets/*.json`). A fleet's sheet of the same key hides
    the built-in one; one with a unit model is used for units of that model only.
    """

    class Kind(models.TextChoices):
        PRE_TRIP = "pre_trip"
        LOADING = "loading"
        POST_TRIP = "post_trip"
        SEASONAL = "seasonal"

    fleet = models.ForeignKey("fleet.Fleet", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    key = models.SlugField(max_length=64)
    version = models.PositiveIntegerField()
    kind = models.CharField(max_length=16, choices=Kind.choices)
    title = models.CharField(max_length=120)
    intro = models.TextField(blank=True)
    unit_model = models.ForeignKey("fleet.UnitModel", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    groups = models.JSONField(help_text="[{key, title, caution, items: [...]}] in the order a person walks.")
    content_hash = models.CharField(max_length=64, help_text="SHA-256 of the canonical content.")
    created_by = models.ForeignKey("fleet.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    objects = ScopedManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["key", "version"], condition=Q(fleet__isnull=True), name="built_in_sheet_version_once"
            ),
            models.UniqueConstraint(fields=["fleet", "key", "version"], name="sheet_version_once_per_fleet"),
        ]

    def __str__(self) -> str:
        return f"{self.key} v{self.version}"
