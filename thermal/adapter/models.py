"""What learning remembers: one small row per unit and day, and one per unit."""

from __future__ import annotations

from django.db import models

from fleet.models import Unit
from fleet.models.scope import FleetRow


class LearnedDay(FleetRow):
    """What one day of readings told of one unit. A pure function of the readings and the design it was made from.

    `made_from` says which: readings per hour of its window and the design, short. When that differs, readings came
    late or the design changed, and the day is worked out again.
    """

    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, related_name="+")
    day = models.DateField()
    made_from = models.CharField(max_length=64)
    told = models.JSONField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["unit", "day"], name="learned_day_once_per_unit")]

    def __str__(self) -> str:
        return f"{self.unit_id} on {self.day}"


class UnitLearning(FleetRow):
    """How far learning has come with one unit, what the heat watch remembers, and what is known now.

    `watch` is the watch's state at `watched_from`, an hour or so before `watched_to`: what arrives late within that
    hour is taken in order.
    """

    unit = models.OneToOneField(Unit, primary_key=True, on_delete=models.CASCADE, related_name="+")
    learned_at = models.DateTimeField(null=True, help_text="When days were last looked at.")
    learned_to = models.DateTimeField(null=True, help_text="Newest reading that was known then.")
    condition = models.JSONField(default=dict)
    watched_to = models.DateTimeField(null=True, help_text="Newest reading the watch has seen.")
    watched_from = models.DateTimeField(null=True)
    watch = models.JSONField(default=dict)

    class Meta:
        indexes = [models.Index(fields=["learned_at"], name="learning_oldest_first")]

    def __str__(self) -> str:
        return f"learning of {self.unit_id}"
