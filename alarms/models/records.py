"""What units report, what it means, and the record of each fault from raise to close."""

from __future__ import annotations

from django.db import models
from django.db.models import Case, Q, Value, When

from fleet.models.scope import FleetRow, ScopedManager


class Tier(models.TextChoices):
    """A fault's effect on the departure."""

    WATCH = "watch"
    ATTEND = "attend"
    STOP = "stop"


class Scheme(models.TextChoices):
    """Whose code it is: the unit model's book, the open J1939 numbering, or our own rules."""

    BOOK = "book"
    J1939 = "j1939"
    DERIVED = "derived"


class Mapping(models.TextChoices):
    """Where an alarm's tier and words are from."""

    BOOK = "book"
    FMI = "fmi"
    RULE = "rule"
    NONE = "none"


class CodeBook(FleetRow):
    """One imported version of a unit model's codes. The highest version is in force; none is ever changed."""

    unit_model = models.ForeignKey("fleet.UnitModel", on_delete=models.PROTECT, related_name="code_books")
    version = models.PositiveIntegerField()
    entry_count = models.PositiveIntegerField()
    note = models.CharField(max_length=300, blank=True)
    imported_at = models.DateTimeField()
    imported_by = models.ForeignKey("fleet.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["unit_model", "version"], name="code_book_version_once")]
        indexes = [models.Index(fields=["fleet", "-id"], name="code_book_by_fleet")]

    def __str__(self) -> str:
        return f"code book {self.version} of model {self.unit_model_id}"


class CodeEntry(models.Model):
    """What one code means and what it does to a departure."""

    fleet_path = "book__fleet"

    book = models.ForeignKey(CodeBook, on_delete=models.PROTECT, related_name="entries")
    code = models.CharField(max_length=64)
    tier = models.CharField(max_length=8, choices=Tier.choices)
    component = models.CharField(max_length=80)
    meaning = models.CharField(max_length=300)
    what_to_do = models.CharField(max_length=600)

    objects = ScopedManager()

    class Meta:
        verbose_name_plural = "code entries"
        constraints = [models.UniqueConstraint(fields=["book", "code"], name="code_once_per_book")]

    def __str__(self) -> str:
        return f"{self.code}: {self.tier}"


class FaultEvent(FleetRow):
    """One fault event as it was sent. Never changed; alarms are folded from these."""

    class State(models.TextChoices):
        RAISED = "raised"
        CLEARED = "cleared"

    unit = models.ForeignKey("fleet.Unit", on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=200)
    event_id = models.CharField(max_length=200)
    at = models.DateTimeField(help_text="The event's own time.")
    scheme = models.CharField(max_length=8, choices=Scheme.choices)
    code = models.CharField(max_length=64)
    state = models.CharField(max_length=8, choices=State.choices)
    text = models.CharField(max_length=300, blank=True)
    occurrence = models.PositiveSmallIntegerField(null=True, blank=True)
    content_hash = models.CharField(max_length=32)
    received_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "source", "event_id"], name="fault_event_once")]
        indexes = [models.Index(fields=["unit", "scheme", "code", "at"], name="fault_event_identity")]

    def __str__(self) -> str:
        return f"{self.code} {self.state} at {self.at:%Y-%m-%dT%H:%M:%SZ}"


class Alarm(FleetRow):
    """The record of one fault of one unit from raise to close.

    Four kinds of columns: what the fault events say (`alarms.folding` computes it again with each event), what the
    code means (from the book in force while the record is open), what people did (never replayed away), and the newest
    estimate of when the load takes damage.
    """

    class State(models.TextChoices):
        ACTIVE = "active"
        RETURNED = "returned"
        CLOSED = "closed"
        VOIDED = "voided"

    unit = models.ForeignKey("fleet.Unit", on_delete=models.PROTECT, related_name="+")
    scheme = models.CharField(max_length=8, choices=Scheme.choices)
    code = models.CharField(max_length=64)
    state = models.CharField(max_length=8, choices=State.choices, default=State.ACTIVE)
    open_rank = models.GeneratedField(
        expression=Case(When(state__in=("active", "returned"), then=Value(1)), default=Value(0)),
        output_field=models.SmallIntegerField(),
        db_persist=True,
    )
    previous = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    repeat = models.PositiveIntegerField(default=1, help_text="Place in the chain of this fault: 1 is the first.")
    opened_at = models.DateTimeField(help_text="When the record was made; the fault is older.")
    revision = models.PositiveIntegerField(default=1)

    # What the events say.
    raised_at = models.DateTimeField()
    returned_at = models.DateTimeField(null=True, blank=True)
    last_event_at = models.DateTimeField()
    as_reported = models.BooleanField(default=True, help_text="The unit still reports the fault.")
    raise_count = models.PositiveIntegerField(default=1)
    text = models.CharField(max_length=300, blank=True)
    occurrence = models.PositiveSmallIntegerField(null=True, blank=True)

    # What the code means.
    tier = models.CharField(max_length=8, choices=Tier.choices)
    component = models.CharField(max_length=80)
    meaning = models.CharField(max_length=300)
    what_to_do = models.CharField(max_length=600)
    mapping = models.CharField(max_length=8, choices=Mapping.choices)

    # What people, and the quiet after a return, did.
    seen_at = models.DateTimeField(null=True, blank=True)
    seen_by = models.ForeignKey("fleet.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.ForeignKey("fleet.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    work_done = models.TextField(blank=True)
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_by = models.ForeignKey("fleet.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    void_reason = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    cut_at = models.DateTimeField(
        null=True, blank=True, help_text="Events up to here belong to this record, later ones to the next."
    )

    # Under way: how long there is time.
    damage_after_h = models.FloatField(null=True, blank=True)
    damage_at = models.DateTimeField(null=True, blank=True)
    damage_limit_c = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["unit", "scheme", "code"],
                condition=Q(state__in=("active", "returned")),
                name="one_open_alarm",
            ),
            models.UniqueConstraint(fields=["previous"], name="one_repeat_of_an_alarm"),
            models.CheckConstraint(
                condition=~Q(state="closed") | (Q(closed_at__isnull=False) & Q(cut_at__isnull=False)),
                name="closed_alarm_has_its_time",
            ),
            models.CheckConstraint(
                condition=~Q(state="voided") | Q(voided_at__isnull=False), name="voided_alarm_has_its_time"
            ),
        ]
        indexes = [
            models.Index(fields=["fleet", "-open_rank", "-id"], name="alarm_open_first"),
            models.Index(fields=["fleet", "-id"], name="alarm_newest"),
            models.Index(fields=["unit", "scheme", "code", "id"], name="alarm_identity"),
            models.Index(fields=["unit", "-open_rank"], name="alarm_of_unit"),
        ]

    def __str__(self) -> str:
        return f"{self.tier} alarm {self.code} on unit {self.unit_id}: {self.state}"

    @property
    def is_open(self) -> bool:
        return self.state in OPEN_STATES

    @property
    def unmapped(self) -> bool:
        """No book explains the code: somebody has to."""
        return self.mapping == Mapping.NONE

    @property
    def derived(self) -> bool:
        """Our own rules found it; the unit did not report it."""
        return self.scheme == Scheme.DERIVED


OPEN_STATES = (Alarm.State.ACTIVE, Alarm.State.RETURNED)
