"""What machines send: sources, readings, and the events that could not be taken."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models.scope import FleetRow, ScopedManager
from fleet.models.units import Unit


class Source(FleetRow):
    """A sender of events, named by the CloudEvents `source` attribute."""

    name = models.CharField(max_length=200)
    first_seen_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "name"], name="source_name_once_per_fleet")]

    def __str__(self) -> str:
        return self.name


def _measured(unit: str) -> models.FloatField:
    return models.FloatField(null=True, help_text=unit)


class Reading(models.Model):
    """Measured values of one unit at one instant from one source: the only large table.

    On PostgreSQL it is range-partitioned by month of `at` from its first migration on, so that retention is dropping
    a partition. Nothing may refer to it. `content_hash` tells a repeat from a contradiction.
    """

    fleet_path = "unit__fleet"

    pk = models.CompositePrimaryKey("unit_id", "at", "source_id")
    unit = models.ForeignKey(Unit, on_delete=models.DO_NOTHING, db_constraint=False, db_index=False, related_name="+")
    at = models.DateTimeField()
    source = models.ForeignKey(
        Source, on_delete=models.DO_NOTHING, db_constraint=False, db_index=False, related_name="+"
    )
    content_hash = models.BigIntegerField()
    return_air_c = _measured("degC")
    discharge_air_c = _measured("degC")
    set_point_c = _measured("degC")
    ambient_c = _measured("degC")
    cargo_c = _measured("degC")
    coolant_c = _measured("degC")
    fuel_l = _measured("L")
    battery_v = _measured("V")
    engine_hours_h = _measured("h")
    heater_running = models.BooleanField(null=True)
    unit_on = models.BooleanField(null=True)
    door_open = models.BooleanField(null=True)
    speed_km_h = _measured("km/h")

    objects = ScopedManager()

    def __str__(self) -> str:
        return f"{self.unit_id} at {self.at:%Y-%m-%dT%H:%M:%SZ}"


class QuarantinedEvent(FleetRow):
    """An event that could not be taken, kept whole, with the reason and whether trying again can help."""

    class State(models.TextChoices):
        HELD = "held"
        REPLAYED = "replayed"
        DISCARDED = "discarded"

    source = models.CharField(max_length=200)
    event_id = models.CharField(max_length=200)
    event_type = models.CharField(max_length=100)
    subject = models.CharField(max_length=100)
    unit = models.ForeignKey(Unit, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    code = models.CharField(max_length=64)
    detail = models.TextField()
    pointer = models.CharField(max_length=300)
    retryable = models.BooleanField()
    raw = models.TextField()
    raw_hash = models.CharField(max_length=64)
    times_received = models.PositiveIntegerField(default=1)
    received_at = models.DateTimeField()
    state = models.CharField(max_length=16, choices=State.choices, default=State.HELD)
    reason = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey("fleet.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fleet", "raw_hash", "code"],
                condition=Q(state="held"),
                name="quarantine_holds_an_item_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.source} {self.event_id}: {self.code}"
