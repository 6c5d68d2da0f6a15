"""Records that last: who did what."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models.scope import FleetRow


class AuditEntry(FleetRow):
    """One act, written in the transaction of the act. The sealer numbers and chains entries later, per fleet."""

    at = models.DateTimeField()
    actor = models.ForeignKey("fleet.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    actor_name = models.CharField(max_length=160)
    act = models.CharField(max_length=64)
    object_type = models.CharField(max_length=40)
    object_id = models.CharField(max_length=64)
    content = models.JSONField(default=dict)
    request_id = models.CharField(max_length=64, blank=True)
    seq = models.PositiveBigIntegerField(null=True, blank=True)
    prev_hash = models.CharField(max_length=64, blank=True)
    hash = models.CharField(max_length=64, blank=True)

    class Meta:
        verbose_name_plural = "audit entries"
        constraints = [
            models.UniqueConstraint(fields=["fleet", "seq"], condition=Q(seq__isnull=False), name="audit_seq_once"),
        ]
        indexes = [
            models.Index(fields=["fleet", "object_type", "object_id"], name="audit_of_object"),
            models.Index(fields=["fleet", "id"], condition=Q(seq__isnull=True), name="audit_unsealed"),
        ]

    def __str__(self) -> str:
        return f"{self.act} {self.object_type} {self.object_id}"
