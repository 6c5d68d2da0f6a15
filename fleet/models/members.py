"""The tenant and its people and machines."""

from django.contrib.auth.models import AbstractUser
from django.db import models


class Role(models.TextChoices):
    """What a member may do: each member has exactly one role."""

    INTEGRATOR = "integrator"
    DISPATCHER = "dispatcher"
    INSPECTOR = "inspector"
    MANAGER = "manager"


class Scale(models.TextChoices):
    """In which scale a person reads temperatures."""

    CELSIUS = "c", "°C"
    FAHRENHEIT = "f", "°F"


class Volume(models.TextChoices):
    """In which measure a person reads volumes; gallons are US liquid gallons."""

    LITRES = "l", "litres"
    GALLONS = "gal", "gallons (US)"


class Look(models.TextChoices):
    """Light or dark pages."""

    SYSTEM = "system", "as the device"
    LIGHT = "light", "light"
    DARK = "dark", "dark"


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

    scale = models.CharField(max_length=1, choices=Scale.choices, default=Scale.CELSIUS)
    volume = models.CharField(max_length=3, choices=Volume.choices, default=Volume.LITRES)
    look = models.CharField(max_length=6, choices=Look.choices, default=Look.SYSTEM)
    time_zone = models.CharField(max_length=64, blank=True, help_text="IANA name; empty: the fleet's.")

    REQUIRED_FIELDS = ["email"]

    class Meta:
        verbose_name, verbose_name_plural = "member", "members"

    def __str__(self) -> str:
        return self.name or self.username
