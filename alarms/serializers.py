"""Alarms on the wire."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from alarms.damage import Damage, damage_sentence
from alarms.models import Alarm, FaultEvent, Mapping, Scheme, Tier
from fleet.http.fields import InstantField, StrictCharField
from fleet.http.serializers import StrictSerializer
from fleet.models import AuditEntry


class DamageOutput(serializers.Serializer):
    """How long there is until the load takes damage, if no heat comes from now on."""

    after_h = serializers.FloatField()
    at = InstantField()
    limit_c = serializers.FloatField()
    sentence = serializers.CharField()


class AlarmOutput(serializers.ModelSerializer):
    """One fault from raise to close."""

    id = serializers.IntegerField()
    unit = serializers.CharField(source="unit.number")
    scheme = serializers.ChoiceField(choices=Scheme.choices)
    state = serializers.ChoiceField(choices=Alarm.State.choices)
    tier = serializers.ChoiceField(choices=Tier.choices)
    mapping = serializers.ChoiceField(choices=Mapping.choices)
    unmapped = serializers.BooleanField()
    raised_at = InstantField()
    returned_at = InstantField(allow_null=True)
    last_event_at = InstantField()
    opened_at = InstantField()
    seen_at = InstantField(allow_null=True)
    seen_by = serializers.CharField(source="seen_by.name", default=None, allow_null=True)
    signed_at = InstantField(allow_null=True)
    signed_by = serializers.CharField(source="signed_by.name", default=None, allow_null=True)
    voided_at = InstantField(allow_null=True)
    voided_by = serializers.CharField(source="voided_by.name", default=None, allow_null=True)
    closed_at = InstantField(allow_null=True)
    previous = serializers.IntegerField(source="previous_id", allow_null=True)
    damage = serializers.SerializerMethodField()

    class Meta:
        model = Alarm
        fields = (
            "id",
            "unit",
            "scheme",
            "code",
            "state",
            "tier",
            "component",
            "meaning",
            "what_to_do",
            "mapping",
            "unmapped",
            "as_reported",
            "raised_at",
            "returned_at",
            "last_event_at",
            "raise_count",
            "text",
            "occurrence",
            "opened_at",
            "seen_at",
            "seen_by",
            "signed_at",
            "signed_by",
            "work_done",
            "voided_at",
            "voided_by",
            "void_reason",
            "closed_at",
            "previous",
            "repeat",
            "damage",
            "revision",
        )

    @extend_schema_field(DamageOutput(allow_null=True))
    def get_damage(self, alarm: Alarm) -> Any:
        damage = kept_damage(alarm)
        if damage is None:
            return None
        sentence = damage_sentence(damage, zone=ZoneInfo(alarm.fleet.time_zone))
        fields = {"after_h": damage.after_h, "at": damage.at, "limit_c": damage.limit_c, "sentence": sentence}
        return DamageOutput(fields).data


def kept_damage(alarm: Alarm) -> Damage | None:
    """The estimate that stands on a record."""
    if alarm.damage_after_h is None or alarm.damage_at is None or alarm.damage_limit_c is None:
        return None
    return Damage(alarm.damage_after_h, alarm.damage_at, alarm.damage_limit_c)


class SignOffInput(StrictSerializer):
    """What was done. Signed with the caller's name, role and the time."""

    example = {"work_done": "Hose changed, coolant filled up and bled."}

    work_done = StrictCharField(max_length=2000, min_length=10, multiline=True)


class VoidInput(StrictSerializer):
    """Why the alarm was never real."""

    example = {"reason": "Raised while the sensor was being changed."}

    reason = StrictCharField(max_length=1000, min_length=10, multiline=True)


class FaultEventOutput(serializers.ModelSerializer):
    """One event of the fault as the unit sent it."""

    at = InstantField()
    state = serializers.CharField(help_text="raised or cleared")
    received_at = InstantField()

    class Meta:
        model = FaultEvent
        fields = ("at", "state", "source", "event_id", "text", "occurrence", "received_at")


class ActOutput(serializers.ModelSerializer):
    """What a person, or the service, did to the record."""

    at = InstantField()
    by = serializers.CharField(source="actor_name")
    content = serializers.JSONField()

    class Meta:
        model = AuditEntry
        fields = ("at", "by", "act", "content")


class ChainOutput(serializers.ModelSerializer):
    """One record of the same fault."""

    id = serializers.IntegerField()
    state = serializers.ChoiceField(choices=Alarm.State.choices)
    tier = serializers.ChoiceField(choices=Tier.choices)
    raised_at = InstantField()
    closed_at = InstantField(allow_null=True)

    class Meta:
        model = Alarm
        fields = ("id", "repeat", "state", "tier", "raised_at", "closed_at", "raise_count")


class HistoryOutput(serializers.Serializer):
    """The whole story of one alarm."""

    alarm: Any = AlarmOutput()
    events: Any = FaultEventOutput(many=True)
    acts: Any = ActOutput(many=True)
    chain: Any = ChainOutput(many=True)
