"""Defects with their life, repairs, and service."""

from __future__ import annotations

from django.db import models

from fleet.models import FleetRow, Unit
from inspections.models.filled import Observation


class Defect(FleetRow):
    """One defect of one item of a unit, from the first observation to the re-check that closed it.

    Rows are derived: `inspections.defects.fold` of all signed observations and repairs of the item decides them, in
    whatever order those arrived.
    """

    class State(models.TextChoices):
        OPEN = "open"
        REPAIRED = "repaired"
        CLOSED = "closed"
        WITHDRAWN = "withdrawn"

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+")
    item = models.SlugField(max_length=64)
    label = models.CharField(max_length=120)
    blocks = models.BooleanField()
    state = models.CharField(max_length=16, choices=State.choices, default=State.OPEN)
    opened_by = models.OneToOneField(Observation, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    seen_at = models.DateTimeField(help_text="When it was last seen.")
    engine_hours_h = models.FloatField(null=True, blank=True)
    repaired_at = models.DateTimeField(null=True, blank=True)
    repair = models.ForeignKey("inspections.Repair", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Observation, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [
            models.Index(fields=["unit", "state"], name="defect_of_unit"),
            models.Index(fields=["fleet", "-id"], name="defect_by_fleet"),
        ]

    def __str__(self) -> str:
        return f"defect {self.pk}: {self.item} {self.state}"


class Repair(FleetRow):
    """What was done about a defect, or why nothing needed doing. Signed when it is recorded."""

    class Kind(models.TextChoices):
        REPAIRED = "repaired"
        REPAIR_UNNECESSARY = "repair_unnecessary"

    observation = models.ForeignKey(Observation, on_delete=models.PROTECT, related_name="repairs")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+")
    item = models.SlugField(max_length=64)
    kind = models.CharField(max_length=24, choices=Kind.choices)
    what_done = models.TextField(help_text="What was done, or the reason why nothing was.")
    parts = models.JSONField(default=list, help_text="Parts used, as text.")
    done_by = models.CharField(max_length=120, help_text="The person or workshop that did the work.")
    performed_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    content_hash = models.CharField(max_length=64)

    class Meta:
        indexes = [
            models.Index(fields=["unit", "item"], name="repair_of_item"),
            models.Index(fields=["fleet", "-id"], name="repair_by_fleet"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.item}"


class ServiceRecord(FleetRow):
    """One service of a unit by its plan."""

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+")
    performed_at = models.DateTimeField()
    engine_hours_h = models.FloatField()
    what_done = models.TextField()
    done_by = models.CharField(max_length=120)
    recorded_at = models.DateTimeField()
    content_hash = models.CharField(max_length=64)

    class Meta:
        indexes = [
            models.Index(fields=["unit", "-performed_at"], name="service_of_unit"),
            models.Index(fields=["fleet", "-id"], name="service_by_fleet"),
        ]

    def __str__(self) -> str:
        return f"service of unit {self.unit_id}"
