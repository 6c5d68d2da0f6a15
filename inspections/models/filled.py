"""Filled sheets and what was seen."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models import FleetRow, Trip, Unit
from inspections.models.sheets import Sheet


class Inspection(FleetRow):
    """One filled sheet of one unit. A draft may change; what is signed never does: a correction supersedes it."""

    class Kind(models.TextChoices):
        PRE_TRIP = "pre_trip"
        LOADING = "loading"
        POST_TRIP = "post_trip"
        SEASONAL = "seasonal"
        RECHECK = "recheck"

    class State(models.TextChoices):
        DRAFT = "draft"
        SIGNED = "signed"
        SUPERSEDED = "superseded"

    class Result(models.TextChoices):
        FIT = "fit"
        UNFIT = "unfit"
        INCOMPLETE = "incomplete"

    class Arrival(models.TextChoices):
        IN_TIME = "in_time"
        LATE = "late"
        CHANGED_ANSWER = "changed_answer"

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+")
    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=16, choices=Kind.choices)
    state = models.CharField(max_length=16, choices=State.choices, default=State.DRAFT)
    result = models.CharField(max_length=16, choices=Result.choices, blank=True)
    performed_at = models.DateTimeField(help_text="When the person looked, by their own word.")
    started_at = models.DateTimeField(help_text="When the service first heard of it.")
    started_by = models.ForeignKey("fleet.Member", on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField(null=True, blank=True, help_text="Server time of the signature.")
    arrival = models.CharField(max_length=16, choices=Arrival.choices, default=Arrival.IN_TIME)
    engine_hours_h = models.FloatField(null=True, blank=True)
    trip = models.ForeignKey(Trip, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    reviewed = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.DO_NOTHING, db_constraint=False, related_name="+",
        help_text="The last report, which the signer reviewed. Kept as it was signed, also after that one was purged.",
    )  # fmt: skip
    refers_to = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="rechecks",
        help_text="The inspection whose items a re-check looks at again.",
    )  # fmt: skip
    supersedes = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="superseded_by"
    )
    reason = models.TextField(blank=True, help_text="Why it supersedes.")
    content_hash = models.CharField(max_length=64, blank=True, help_text="SHA-256 of what was signed.")
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state="draft", signed_at__isnull=True, result="")
                | (~Q(state="draft") & Q(signed_at__isnull=False) & ~Q(result="")),
                name="signed_inspection_has_result_and_time",
            ),
            models.CheckConstraint(condition=Q(supersedes__isnull=True) | ~Q(reason=""), name="correction_has_reason"),
            models.CheckConstraint(
                condition=~Q(kind="recheck") | Q(refers_to__isnull=False), name="recheck_refers_to_inspection"
            ),
        ]
        indexes = [
            models.Index(fields=["unit", "kind", "state", "-performed_at"], name="inspection_newest"),
            models.Index(fields=["fleet", "-id"], name="inspection_by_fleet"),
        ]

    def __str__(self) -> str:
        return f"inspection {self.pk}"


class Observation(FleetRow):
    """One item's outcome on one filled sheet, with the words it was asked in."""

    class Outcome(models.TextChoices):
        SOUND = "sound"
        WEAR = "wear"
        DEFECT = "defect"
        NOT_SEEN = "not_seen"

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="observations")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+")
    item = models.SlugField(max_length=64)
    label = models.CharField(max_length=120)
    position = models.PositiveSmallIntegerField()
    outcome = models.CharField(max_length=16, choices=Outcome.choices)
    blocks = models.BooleanField(help_text="Whether a defect of this item keeps the unit from leaving.")
    if_fitted = models.BooleanField(default=False, help_text="Not seen is no gap: the part may not be there.")
    note = models.TextField(blank=True)
    values = models.JSONField(default=dict, help_text="Measured values by name.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["inspection", "item"], name="item_once_per_inspection")]
        indexes = [models.Index(fields=["unit", "item", "outcome"], name="observation_history")]

    def __str__(self) -> str:
        return f"{self.item}: {self.outcome}"
