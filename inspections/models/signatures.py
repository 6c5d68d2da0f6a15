"""Signatures: who stands for what, and when."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models import FleetRow
from inspections.models.filled import Inspection
from inspections.models.mending import Repair, ServiceRecord


class Signature(FleetRow):
    """A person's name under one record, as they were called and in the role they had at that moment."""

    class Meaning(models.TextChoices):
        PERFORMED = "performed"
        REVIEWED = "reviewed"
        REPAIRED = "repaired"

    inspection = models.ForeignKey(
        Inspection, null=True, blank=True, on_delete=models.PROTECT, related_name="signatures"
    )
    repair = models.ForeignKey(Repair, null=True, blank=True, on_delete=models.PROTECT, related_name="signatures")
    service = models.ForeignKey(
        ServiceRecord, null=True, blank=True, on_delete=models.PROTECT, related_name="signatures"
    )
    meaning = models.CharField(max_length=16, choices=Meaning.choices)
    member = models.ForeignKey("fleet.Member", on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=160)
    role = models.CharField(max_length=16)
    server_at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True, help_text="The signer's own clock, as it claimed.")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(inspection__isnull=False, repair__isnull=True, service__isnull=True)
                | Q(inspection__isnull=True, repair__isnull=False, service__isnull=True)
                | Q(inspection__isnull=True, repair__isnull=True, service__isnull=False),
                name="signature_under_one_record",
            ),
            models.UniqueConstraint(
                fields=["inspection", "meaning"],
                condition=Q(inspection__isnull=False),
                name="inspection_meaning_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.meaning} by {self.name}"
