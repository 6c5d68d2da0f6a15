"""What was answered, when, from what: the policy, the assessments and the holds."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models.scope import FleetRow
from fleet.models.trips import Trip
from fleet.models.units import Unit


class PolicyRow(models.Model):
    """A fleet's departures from the default thresholds of `fleet.policy`."""

    fleet = models.OneToOneField("fleet.Fleet", primary_key=True, on_delete=models.PROTECT, related_name="policy")
    overrides = models.JSONField(default=dict)
    version = models.PositiveIntegerField(default=1)
    revision = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name, verbose_name_plural = "policy", "policies"

    def __str__(self) -> str:
        return f"policy of fleet {self.fleet_id}"


class Verdict(models.TextChoices):
    READY = "ready"
    CONDITIONAL = "conditional"
    BLOCKED = "blocked"
    UNKNOWN = "unknown"


class Phase(models.TextChoices):
    PLANNED = "planned"
    UNDER_WAY = "under_way"


class Assessment(FleetRow):
    """One answer for one trip and unit. Append-only but for `confirmed_at`, `valid_until` and `versions`, which move
    when the same answer is found again."""

    class Trigger(models.TextChoices):
        WORKER = "worker"
        READ = "read"
        GATE = "gate"

    trip = models.ForeignKey(Trip, on_delete=models.PROTECT, related_name="assessments")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+")
    phase = models.CharField(max_length=16, choices=Phase.choices)
    trigger = models.CharField(max_length=16, choices=Trigger.choices)
    verdict = models.CharField(max_length=16, choices=Verdict.choices)
    score = models.FloatField(null=True, blank=True)
    versions = models.CharField(max_length=120)
    computed_at = models.DateTimeField()
    confirmed_at = models.DateTimeField()
    valid_until = models.DateTimeField()
    document = models.JSONField(help_text="Findings and forecast as answered.")

    class Meta:
        indexes = [models.Index(fields=["trip", "unit", "-id"], name="assessment_newest")]

    def __str__(self) -> str:
        return f"{self.verdict} at {self.computed_at:%Y-%m-%dT%H:%M:%SZ}"


class Hold(FleetRow):
    """The stored fact that a trip may not leave with a unit; one row per episode."""

    class State(models.TextChoices):
        OPEN = "open"
        LIFTED = "lifted"
        RELEASED = "released"
        ENDED = "ended"

    trip = models.ForeignKey(Trip, on_delete=models.PROTECT, related_name="holds")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=16, choices=State.choices, default=State.OPEN)
    causes = models.JSONField(help_text="[{key, check, outcome, message, releasable, since}]")
    opened_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    clear_since = models.DateTimeField(null=True, blank=True, help_text="First unblocked assessment in a row.")
    closed_at = models.DateTimeField(null=True, blank=True)
    close_reason = models.CharField(max_length=64, blank=True)
    reopened = models.PositiveSmallIntegerField(default=0)
    released_by = models.ForeignKey("fleet.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    release_reason = models.TextField(blank=True)
    release_until = models.DateTimeField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["trip", "unit"], condition=Q(state="open"), name="one_open_hold"),
        ]
        indexes = [models.Index(fields=["fleet", "-id"], name="hold_by_fleet")]

    def __str__(self) -> str:
        return f"hold {self.pk} on trip {self.trip_id}: {self.state}"
