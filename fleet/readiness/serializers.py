"""Assessments, candidates and holds on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from fleet.http.fields import StrictCharField
from fleet.http.serializers import StrictSerializer


class CandidatesInput(StrictSerializer):
    """Which units to rank; null for all in service."""

    example = {"units": ["HB-104", "HB-105"]}

    units = serializers.ListField(
        child=StrictCharField(max_length=40), allow_null=True, required=False, min_length=1, max_length=1000
    )


class ReleaseInput(StrictSerializer):
    example = {"reason": "Sensor known to be broken; cargo measured by hand, 8 degrees."}

    reason = StrictCharField(max_length=1000, min_length=10, multiline=True)


class RemedyOutput(serializers.Serializer[Any]):
    action = serializers.CharField()
    text = serializers.CharField()
    amount = serializers.FloatField(allow_null=True)
    unit = serializers.CharField()
    then = serializers.CharField(allow_null=True)


class FindingOutput(serializers.Serializer[Any]):
    check = serializers.CharField()
    outcome = serializers.ChoiceField(choices=["pass", "pending", "concern", "block", "unknown"])
    message = serializers.CharField()
    measured = serializers.FloatField(allow_null=True)
    required = serializers.FloatField(allow_null=True)  # type: ignore[assignment]  # a member, not the option
    unit = serializers.CharField()
    margin = serializers.FloatField(allow_null=True)
    due_at = serializers.DateTimeField(allow_null=True)
    source = serializers.CharField()  # type: ignore[assignment]  # a member, not the option
    subjects = serializers.ListField(child=serializers.CharField())
    remedy = RemedyOutput(allow_null=True)


class HoldBrief(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    state = serializers.ChoiceField(choices=["open", "released"])
    opened_at = serializers.DateTimeField()
    release_until = serializers.DateTimeField(allow_null=True)
    causes = serializers.ListField(child=serializers.CharField())


class AssessmentOutput(serializers.Serializer[Any]):
    """The answer to: may this unit take this load on this trip, and what would make it so?"""

    trip = serializers.CharField()
    unit = serializers.CharField()
    phase = serializers.ChoiceField(choices=["planned", "under_way"])
    verdict = serializers.ChoiceField(choices=["ready", "conditional", "blocked", "unknown"])
    released = serializers.BooleanField()
    score = serializers.FloatField(allow_null=True)
    score_se = serializers.FloatField(allow_null=True)
    score_causes = serializers.DictField(child=serializers.FloatField(), allow_null=True)
    computed_at = serializers.DateTimeField()
    valid_until = serializers.DateTimeField()
    versions = serializers.CharField()
    findings = FindingOutput(many=True)
    forecast = serializers.DictField(allow_null=True)
    holds = HoldBrief(many=True)
    caution = serializers.CharField()
    not_checked = serializers.ListField(child=serializers.CharField())


class AssessmentHistoryItem(AssessmentOutput):
    """One answer of the history."""

    id = serializers.IntegerField()
    trigger = serializers.ChoiceField(choices=["worker", "read", "gate"])
    confirmed_at = serializers.DateTimeField()


class CandidateOutput(serializers.Serializer[Any]):
    rank = serializers.IntegerField()
    unit = serializers.CharField()
    verdict = serializers.ChoiceField(choices=["ready", "conditional", "blocked", "unknown"])
    score = serializers.FloatField(allow_null=True)
    blocking = FindingOutput(many=True)
    concerns = serializers.IntegerField()


class CandidatesOutput(serializers.Serializer[Any]):
    trip = serializers.CharField()
    candidates = CandidateOutput(many=True)
    caution = serializers.CharField()


class HoldCause(serializers.Serializer[Any]):
    key = serializers.CharField()
    check = serializers.CharField()
    outcome = serializers.CharField()
    message = serializers.CharField()
    remedy = serializers.CharField(allow_blank=True)
    releasable = serializers.BooleanField()
    since = serializers.DateTimeField()


class HoldOutput(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    trip = serializers.CharField(source="trip.reference")
    unit = serializers.CharField(source="unit.number")
    state = serializers.ChoiceField(choices=["open", "lifted", "released", "ended"])
    causes = HoldCause(many=True)
    opened_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()
    closed_at = serializers.DateTimeField(allow_null=True)
    close_reason = serializers.CharField(allow_blank=True)
    reopened = serializers.IntegerField()
    released_by = serializers.CharField(source="released_by.name", default=None, allow_null=True)
    release_reason = serializers.CharField(allow_blank=True)
    release_until = serializers.DateTimeField(allow_null=True)
    revision = serializers.IntegerField()
