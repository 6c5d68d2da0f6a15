"""Who is to be told of what, and each message on its way: routes, notices and deliveries."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from alarms.ladder import Urgency
from alarms.models.records import Alarm
from alarms.policy import Reason
from fleet.models import Hold, Trip, Unit
from fleet.models.scope import FleetRow


class Channel(models.TextChoices):
    EMAIL = "email"
    WEBHOOK = "webhook"


class Kind(models.TextChoices):
    """What a notice is about."""

    HOLD = "hold"
    ALARM = "alarm"


URGENCIES = [(str(urgency), str(urgency)) for urgency in Urgency]
REASONS = [(str(reason), str(reason)) for reason in Reason]


class NoticeRoute(FleetRow):
    """One way to one member: who, on which channel, for which kinds, and in which order."""

    class State(models.TextChoices):
        ENABLED = "enabled"
        DISABLED = "disabled"
        REMOVED = "removed"

    member = models.ForeignKey("fleet.Member", on_delete=models.PROTECT, related_name="notice_routes")
    channel = models.CharField(max_length=8, choices=Channel.choices)
    address = models.CharField(max_length=500, help_text="A mail address, or the URL of a webhook.")
    kinds = models.JSONField(default=list, help_text="Kinds of notice that go this way.")
    position = models.PositiveSmallIntegerField(default=1, help_text="Order of the person: 1 is told first.")
    quiet_from = models.TimeField(null=True, blank=True, help_text="On the fleet's clock.")
    quiet_until = models.TimeField(null=True, blank=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.ENABLED)
    disabled_reason = models.CharField(max_length=200, blank=True)
    secret = models.CharField(max_length=120, blank=True, help_text="Signs webhooks; shown when made, never again.")
    previous_secret = models.CharField(max_length=120, blank=True)
    previous_secret_until = models.DateTimeField(null=True, blank=True)
    failing_since = models.DateTimeField(null=True, blank=True, help_text="First of the newest failures in a row.")
    created_at = models.DateTimeField()
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fleet", "member", "channel", "address"],
                condition=~Q(state="removed"),
                name="notice_route_once",
            ),
            models.CheckConstraint(
                condition=Q(quiet_from__isnull=True, quiet_until__isnull=True)
                | Q(quiet_from__isnull=False, quiet_until__isnull=False),
                name="quiet_hours_have_both_ends",
            ),
            models.CheckConstraint(
                condition=~Q(channel="webhook") | ~Q(secret="") | Q(state="removed"), name="webhook_route_has_a_secret"
            ),
        ]
        indexes = [models.Index(fields=["fleet", "state", "position"], name="notice_route_of_fleet")]

    def __str__(self) -> str:
        return f"{self.channel} to {self.address}"


class Notice(FleetRow):
    """Everything somebody must know about one unit, from its first cause to its last. One is open per unit."""

    class State(models.TextChoices):
        PENDING = "pending"
        SENT = "sent"
        SEEN = "seen"
        UNDELIVERABLE = "undeliverable"
        CLOSED = "closed"

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=16, choices=State.choices, default=State.PENDING)
    urgency = models.CharField(max_length=8, choices=URGENCIES, blank=True, help_text="Of the present round.")
    round = models.PositiveIntegerField(default=0, help_text="How often the ladder began anew.")
    step = models.IntegerField(default=-1, help_text="Last step taken in this round.")
    reason = models.CharField(max_length=16, choices=REASONS, default=str(Reason.NOTHING))
    opened_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True, help_text="First message of this round.")
    stepped_at = models.DateTimeField(null=True, blank=True, help_text="Last step of this round.")
    decided_at = models.DateTimeField(null=True, blank=True)
    next_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)
    seen_by = models.ForeignKey("fleet.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=1, help_text="Moves with what a reader can acknowledge.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["unit"], condition=~Q(state="closed"), name="one_open_notice_per_unit"),
            models.CheckConstraint(
                condition=Q(state="closed", next_at__isnull=True, closed_at__isnull=False)
                | (~Q(state="closed") & Q(next_at__isnull=False)),
                name="open_notice_has_a_next_look",
            ),
        ]
        indexes = [
            models.Index(fields=["next_at"], name="notice_due", condition=Q(next_at__isnull=False)),
            models.Index(fields=["fleet", "-id"], name="notice_by_fleet"),
        ]

    def __str__(self) -> str:
        return f"notice {self.pk} about unit {self.unit_id}: {self.state}"


class NoticeSubject(FleetRow):
    """One hold or alarm of a notice. A hold that re-opens is the same subject again."""

    notice = models.ForeignKey(Notice, on_delete=models.PROTECT, related_name="subjects")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    hold = models.ForeignKey(Hold, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    alarm = models.ForeignKey(Alarm, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    trip = models.ForeignKey(Trip, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    depart_at = models.DateTimeField(null=True, blank=True, help_text="Planned departure as last looked at.")
    opened_at = models.DateTimeField()
    told_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    end_told_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="hold", hold__isnull=False, alarm__isnull=True, trip__isnull=False)
                | Q(kind="alarm", alarm__isnull=False, hold__isnull=True),
                name="notice_subject_is_one_thing",
            ),
            models.UniqueConstraint(fields=["notice", "hold"], name="hold_once_per_notice"),
            models.UniqueConstraint(fields=["notice", "alarm"], name="alarm_once_per_notice"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.hold_id or self.alarm_id} of notice {self.notice_id}"


class Delivery(FleetRow):
    """One message on one channel to one person, with every attempt to bring it there under one id."""

    class Purpose(models.TextChoices):
        TELL = "tell"
        CLOSE = "close"
        SUMMARY = "summary"
        OWNER = "owner"
        TEST = "test"

    class State(models.TextChoices):
        QUEUED = "queued"
        LEASED = "leased"
        RETRY_WAIT = "retry_wait"
        SENT = "sent"
        FAILED = "failed"
        CANCELLED = "cancelled"

    notice = models.ForeignKey(Notice, null=True, blank=True, on_delete=models.PROTECT, related_name="deliveries")
    route = models.ForeignKey(
        NoticeRoute, null=True, blank=True, on_delete=models.PROTECT, related_name="+", help_text="None: the owner."
    )
    summary = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="lines", help_text="It is a line there."
    )
    purpose = models.CharField(max_length=8, choices=Purpose.choices)
    channel = models.CharField(max_length=8, choices=Channel.choices)
    address = models.CharField(max_length=500)
    lane = models.CharField(max_length=40, help_text="Recipient and channel: messages of one lane keep their order.")
    dedupe_key = models.CharField(max_length=120, unique=True)
    message_id = models.CharField(max_length=40, unique=True, help_text="The same on every attempt.")
    urgency = models.CharField(max_length=8, choices=URGENCIES, blank=True)
    reason = models.CharField(max_length=16, choices=REASONS, default=str(Reason.NOTHING))
    round = models.PositiveIntegerField(default=0)
    step = models.IntegerField(default=0)
    subjects = models.JSONField(default=list, help_text="Ids of the notice's subjects that it speaks of.")
    document = models.JSONField(default=dict, help_text="What is said, fixed when the message was made.")
    state = models.CharField(max_length=12, choices=State.choices, default=State.QUEUED)
    attempts = models.PositiveIntegerField(default=0)
    next_attempt_at = models.DateTimeField()
    not_after = models.DateTimeField()
    lease_owner = models.CharField(max_length=64, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    last_status = models.CharField(max_length=40, blank=True)
    last_error = models.CharField(max_length=300, blank=True)
    uncertain = models.BooleanField(default=False, help_text="An attempt broke off after it may have arrived.")
    by_hand = models.BooleanField(default=False, help_text="A person asked for it: sent whatever has changed since.")
    created_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "deliveries"
        constraints = [
            models.CheckConstraint(
                condition=~Q(state="leased") | (~Q(lease_owner="") & Q(lease_until__isnull=False)),
                name="leased_delivery_has_an_owner",
            ),
            models.CheckConstraint(condition=~Q(state="sent") | Q(sent_at__isnull=False), name="sent_has_its_time"),
        ]
        indexes = [
            models.Index(
                fields=["next_attempt_at"], name="delivery_due", condition=Q(state__in=["queued", "retry_wait"])
            ),
            models.Index(
                fields=["lane", "id"], name="delivery_lane", condition=Q(state__in=["queued", "leased", "retry_wait"])
            ),
            models.Index(fields=["notice", "round"], name="delivery_of_notice"),
            models.Index(fields=["fleet", "-id"], name="delivery_by_fleet"),
            models.Index(fields=["route", "-created_at"], name="delivery_of_route"),
        ]

    def __str__(self) -> str:
        return f"{self.purpose} by {self.channel} to {self.address}: {self.state}"


WAITING = (Delivery.State.QUEUED, Delivery.State.RETRY_WAIT)
UNFINISHED = (*WAITING, Delivery.State.LEASED)
