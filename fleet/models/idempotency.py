"""The memory of answered POSTs: what lets a caller repeat a request without repeating its effect."""

from django.conf import settings
from django.db import models

from fleet.models.scope import FleetRow


class IdempotencyKey(FleetRow):
    """One key of one member, with the answer it was given.

    The row is inserted in the transaction of the effect it stands for. A committed row therefore always holds
    an answer; `status` is null only inside that transaction.
    """

    member = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=255)
    route = models.CharField(max_length=255, help_text="Method and path the key was first used for.")
    body_hash = models.CharField(max_length=64, help_text="SHA-256 of the canonical body, hexadecimal.")
    status = models.PositiveSmallIntegerField(null=True)
    response = models.BinaryField(default=bytes, help_text="The body of the answer, byte for byte.")
    headers = models.JSONField(default=dict, help_text="Headers that belong to the answer: Location, ETag.")
    created_at = models.DateTimeField(db_index=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "member", "key"], name="idempotency_key_once_per_member")
        ]

    def __str__(self) -> str:
        return f"{self.route} {self.key}"
