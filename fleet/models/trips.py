"""Commodities and trips: what is carried, where and when."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from fleet.models.scope import FleetRow, ScopedManager
from fleet.models.units import Unit


class Commodity(models.Model):
    """What is known of one kind of goods. Rows without a fleet are the built-in table; a fleet's row hides its twin."""

    fleet = models.ForeignKey("fleet.Fleet", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    key = models.SlugField(max_length=64)
    name = models.CharField(max_length=120)
    freezes_c = models.FloatField(null=True, blank=True)
    chill_c = models.FloatField(null=True, blank=True, help_text="Below it the goods suffer without freezing.")
    chill_hours = models.FloatField(null=True, blank=True, help_text="Hours below `chill_c` that do no harm; 0: none.")
    low_c = models.FloatField(null=True, blank=True, help_text="Lower end of the carrying range.")
    high_c = models.FloatField(null=True, blank=True, help_text="Upper end of the carrying range.")
    cp_kj_kgk = models.FloatField(null=True, blank=True)
    latent_kj_kg = models.FloatField(null=True, blank=True)
    respiration_w_kg = models.FloatField(default=0.0)
    no_heat_needed = models.BooleanField(default=False)
    hazard = models.CharField(
        max_length=16,
        default="none",
        choices=[("none", "none"), ("must_state", "must_state"), ("refused", "refused")],
        help_text="must_state: the load has to say that it is not dangerous goods. refused: never taken.",
    )
    source = models.TextField(help_text="Where the values are from and how well they are known.")

    objects = ScopedManager()

    class Meta:
        verbose_name_plural = "commodities"
        constraints = [
            models.UniqueConstraint(
                fields=["key"], condition=Q(fleet__isnull=True), name="built_in_commodity_key_once"
            ),
            models.UniqueConstraint(fields=["fleet", "key"], name="commodity_key_once_per_fleet"),
        ]

    def __str__(self) -> str:
        return self.name


class Trip(FleetRow):
    """One journey of one load. Stops, loads and ambient points are replaced as a whole and therefore documents."""

    class State(models.TextChoices):
        PLANNED = "planned"
        UNDER_WAY = "under_way"
        DELIVERED = "delivered"
        CANCELLED = "cancelled"

    reference = models.CharField(max_length=64)
    state = models.CharField(max_length=16, choices=State.choices, default=State.PLANNED)
    planned_unit = models.ForeignKey(Unit, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    assigned_unit = models.ForeignKey(Unit, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    loading_at = models.DateTimeField()
    depart_at = models.DateTimeField()
    arrive_at = models.DateTimeField(help_text="Arrival at the last stop.")
    loads = models.JSONField(default=list, help_text="Resolved loads; empty: dry goods.")
    stops = models.JSONField()
    ambient = models.JSONField(default=list, help_text="[at, degC] pairs in time order.")
    ambient_issued_at = models.DateTimeField(null=True, blank=True)
    ambient_version = models.PositiveIntegerField(default=1)
    help_median_h = models.FloatField(null=True, blank=True)
    help_p90_h = models.FloatField(null=True, blank=True)
    set_point_changed_at = models.DateTimeField(null=True, blank=True)
    departed_at = models.DateTimeField(null=True, blank=True)
    delivered_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancel_reason = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1, help_text="Moves with anything an assessment reads.")
    revision = models.PositiveIntegerField(default=1, help_text="Moves with API writes: the ETag.")
    assess_due_at = models.DateTimeField(null=True, blank=True)
    assess_failures = models.PositiveSmallIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "reference"], name="trip_reference_once_per_fleet"),
            models.CheckConstraint(condition=Q(loading_at__lte=F("depart_at")), name="trip_loads_before_it_leaves"),
            models.CheckConstraint(condition=Q(depart_at__lt=F("arrive_at")), name="trip_leaves_before_it_arrives"),
        ]
        indexes = [
            models.Index(fields=["assess_due_at"], name="trip_due", condition=Q(assess_due_at__isnull=False)),
            models.Index(fields=["fleet", "state", "depart_at"], name="trip_by_departure"),
            models.Index(fields=["planned_unit", "state"], name="trip_planned_unit"),
            models.Index(fields=["assigned_unit", "state"], name="trip_assigned_unit"),
        ]

    def __str__(self) -> str:
        return self.reference

    @property
    def unit_id(self) -> int | None:
        """The unit that readiness speaks of: the assigned one, else the planned one."""
        return self.assigned_unit_id or self.planned_unit_id
