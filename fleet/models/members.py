"""The tenant and its people and machines."""

from django.contrib.auth.models import AbstractUser
from django.db import models


class Role(models.TextChoices):
    """What a member may do: each member has exactly one role."""

    INTEGRATOR = "integrator"
    DISPATCHER = "dispatcher"
    INSPECTOR = "inspector"
    MANAGER = "manager"


class Fleet(models.Model):
    """One carrier's units, people and records; nothing is shared between fleets but the built-in tables."""

    name = models.CharField(max_length=120)
    slug = models.SlugField(unique=True)
    time_zone = models.CharField(max_length=64, default="UTC", help_text="IANA name; quiet hours and mail use it.")
    owner_email = models.EmailField(help_text="Told when no channel of a notice works.")
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


class Member(AbstractUser):
    """A person or a machine of one fleet. Members without a fleet are the host's operators and cannot use the API."""

    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]
    fleet = models.ForeignKey(Fleet, null=True, blank=True, on_delete=models.PROTECT, related_name="members")
    role = models.CharField(max_length=16, choices=Role.choices, default=Role.INSPECTOR)
    name = models.CharField(max_length=120, blank=True, help_text="As it stands under signatures.")

    REQUIRED_FIELDS = ["email"]

    def __str__(self) -> str:
        return self.name or self.username
