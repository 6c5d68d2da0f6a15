"""Deliveries as documents."""

from __future__ import annotations

from rest_framework import serializers

from alarms.models import Channel, Delivery


class DeliveryOutput(serializers.ModelSerializer):
    """One message on one channel, what it says, and what became of each attempt."""

    notice = serializers.IntegerField(source="notice_id", allow_null=True)
    route = serializers.IntegerField(source="route_id", allow_null=True)
    summary = serializers.IntegerField(source="summary_id", allow_null=True)
    channel = serializers.ChoiceField(choices=Channel.values)
    urgency = serializers.CharField(allow_blank=True)
    document = serializers.DictField()

    class Meta:
        model = Delivery
        fields = (
            "id", "notice", "route", "summary", "purpose", "channel", "address", "message_id", "urgency", "reason",
            "round", "step", "state", "attempts", "next_attempt_at", "not_after", "last_status", "last_error",
            "created_at", "sent_at", "document",
        )  # fmt: skip
