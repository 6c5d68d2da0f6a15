"""Notices and routes as documents."""

from __future__ import annotations

import re
from datetime import time
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from alarms.models import Channel, Kind, Notice, NoticeSubject
from alarms.notices.messages import trip_link
from fleet.http.fields import StrictCharField, StrictChoiceField, StrictIntegerField
from fleet.http.serializers import StrictSerializer

_TIME = re.compile(r"(?:[01]\d|2[0-3]):[0-5]\d", re.ASCII)


@extend_schema_field({"type": "string", "pattern": r"^([01]\d|2[0-3]):[0-5]\d$"})
class TimeOfDayField(serializers.Field):
    """A time on the fleet's clock, `22:30`."""

    default_error_messages = {"not-a-time-of-day": "Send a time of day such as 22:30."}

    def to_internal_value(self, data: Any) -> time:
        if not isinstance(data, str) or not _TIME.fullmatch(data):
            self.fail("not-a-time-of-day")
        return time.fromisoformat(data)

    def to_representation(self, value: time) -> str:
        return value.strftime("%H:%M")


class RouteChange(StrictSerializer):
    """What may change. `state` disables a route, or enables one again."""

    example = {"quiet_from": "22:00", "quiet_until": "06:00", "position": 2}

    address = StrictCharField(max_length=500, required=False)
    kinds = serializers.ListField(
        child=StrictChoiceField(choices=Kind.values), min_length=1, max_length=2, required=False
    )
    position = StrictIntegerField(min_value=1, max_value=100, required=False)
    quiet_from = TimeOfDayField(required=False, allow_null=True)
    quiet_until = TimeOfDayField(required=False, allow_null=True)
    state = StrictChoiceField(choices=["enabled", "disabled"], required=False)

    def validate_kinds(self, kinds: list[str]) -> list[str]:
        return sorted(set(kinds))


class RouteInput(StrictSerializer):
    """A way to a member. Without `address` a mail goes to the member's own."""

    example = {
        "member": "northfell-manager",
        "channel": "webhook",
        "address": "https://tms.northfell.example/hooks/warmgate",
        "kinds": ["alarm", "hold"],
    }

    member = StrictCharField(max_length=150)
    channel = StrictChoiceField(choices=Channel.values)
    address = StrictCharField(max_length=500, required=False)
    kinds = serializers.ListField(
        child=StrictChoiceField(choices=Kind.values), min_length=1, max_length=2, default=lambda: sorted(Kind.values)
    )
    position = StrictIntegerField(min_value=1, max_value=100, default=1)
    quiet_from = TimeOfDayField(default=None, allow_null=True)
    quiet_until = TimeOfDayField(default=None, allow_null=True)

    def validate_kinds(self, kinds: list[str]) -> list[str]:
        return sorted(set(kinds))


class RouteOutput(serializers.Serializer):
    id = serializers.IntegerField()
    member = serializers.CharField(source="member.username")
    channel = serializers.ChoiceField(choices=Channel.values)
    address = serializers.CharField()
    kinds = serializers.ListField(child=serializers.ChoiceField(choices=Kind.values))
    position = serializers.IntegerField()
    quiet_from = TimeOfDayField(allow_null=True)
    quiet_until = TimeOfDayField(allow_null=True)
    state = serializers.ChoiceField(choices=["enabled", "disabled"])
    disabled_reason = serializers.CharField(allow_blank=True)
    failing_since = serializers.DateTimeField(allow_null=True)
    both_secrets_until = serializers.DateTimeField(source="previous_secret_until", allow_null=True)
    revision = serializers.IntegerField()


class RouteWithSecret(RouteOutput):
    """The answer that shows a webhook's secret: this once."""

    secret = serializers.CharField(allow_blank=True)


class NoticeSubjectOutput(serializers.Serializer):
    kind = serializers.ChoiceField(choices=Kind.values)
    hold = serializers.IntegerField(source="hold_id", allow_null=True)
    alarm = serializers.IntegerField(source="alarm_id", allow_null=True)
    trip = serializers.CharField(source="trip.reference", default=None, allow_null=True)
    opened_at = serializers.DateTimeField()
    told_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    end_told_at = serializers.DateTimeField(allow_null=True)
    says = serializers.SerializerMethodField()
    link = serializers.SerializerMethodField()

    def get_says(self, subject: NoticeSubject) -> list[str]:
        """What it is about, in words."""
        if subject.hold is not None:
            return [cause["message"] for cause in subject.hold.causes]
        return [subject.alarm.meaning] if subject.alarm is not None else []

    def get_link(self, subject: NoticeSubject) -> str | None:
        return trip_link(subject.trip.reference) if subject.trip is not None else None


class NoticeOutput(serializers.ModelSerializer):
    """Who must know about a unit, how urgent it is, how far telling has come, and why."""

    unit = serializers.CharField(source="unit.number")
    urgency = serializers.CharField(allow_blank=True)
    seen_by = serializers.CharField(source="seen_by.name", default=None, allow_null=True)
    subjects = NoticeSubjectOutput(many=True)

    class Meta:
        model = Notice
        fields = (
            "id", "unit", "state", "urgency", "reason", "round", "step", "opened_at", "decided_at", "next_at",
            "seen_at", "seen_by", "closed_at", "subjects", "revision",
        )  # fmt: skip
