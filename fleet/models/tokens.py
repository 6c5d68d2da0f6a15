"""What is known about a token beside its hash, which django-rest-knox keeps."""

from django.conf import settings
from django.db import models

from fleet.models.scope import FleetRow


class TokenOrigin(models.TextChoices):
    """How a token came to be."""

    COMMAND = "command"
    LOGIN = "login"
    ROTATION = "rotation"


class TokenCard(FleetRow):
    """One live token of one member. It goes when the token goes; what was done with the token stays in the audit."""

    member = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="token_cards")
    token = models.OneToOneField(settings.KNOX_TOKEN_MODEL, on_delete=models.CASCADE, related_name="card")
    name = models.CharField(max_length=80, blank=True, help_text="What the token is for, in its owner's words.")
    origin = models.CharField(max_length=16, choices=TokenOrigin.choices)
    life_s = models.PositiveIntegerField(help_text="Life it was issued with; one that replaces it lives as long.")
    created_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, help_text="Written at most once in five minutes.")

    def __str__(self) -> str:
        return self.name or f"token {self.pk}"
