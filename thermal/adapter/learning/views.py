"""What was learned of a unit, over HTTP."""

from __future__ import annotations

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now
from fleet.http.fields import InstantField, StrictDateField
from fleet.http.views import CommandView
from fleet.readiness.selectors import unit_with_state
from fleet.trips.selectors import unit_of
from thermal.adapter.learning.health import health_document
from thermal.health.change import Cause


class LearnedValueOutput(serializers.Serializer):  # type: ignore[type-arg]
    """A learned value with its 90 % interval."""

    value = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    sd_ln = serializers.FloatField(help_text="Standard deviation of the value's logarithm.")


class HealthReferenceOutput(serializers.Serializer):  # type: ignore[type-arg]
    """What was known of the box before any reading, aged to now."""

    k_w_m2k = serializers.FloatField()
    source = serializers.ChoiceField(choices=["design", "tested"])  # type: ignore[assignment]
    sd_ln = serializers.FloatField()


class HealthPlanOutput(serializers.Serializer):  # type: ignore[type-arg]
    """What forecasts take for the unit: cautious, so not always the learned value."""

    k_w_m2k = serializers.FloatField()
    k_from = serializers.ChoiceField(choices=["design", "tested", "learned"])
    sd_ln_k = serializers.FloatField()
    words = serializers.CharField()


class HealthChangeOutput(serializers.Serializer):  # type: ignore[type-arg]
    """A step of the heat balance: the first day after it, new over old, and what changed."""

    since = StrictDateField()
    factor = serializers.FloatField()
    cause = serializers.ChoiceField(choices=[(str(cause), str(cause)) for cause in Cause])


class UnitHealthOutput(serializers.Serializer):  # type: ignore[type-arg]
    unit = serializers.CharField()
    updated_at = InstantField(allow_null=True)
    watched_to = InstantField(allow_null=True, help_text="Newest reading the heat watch has seen.")
    days = serializers.IntegerField(help_text="Days with data that count now.")
    hours_h = serializers.FloatField(help_text="Hours of heating they hold.")
    enough = serializers.BooleanField(help_text="Whether the readings say more than the paper.")
    reference = HealthReferenceOutput(allow_null=True)
    plan = HealthPlanOutput(allow_null=True)
    heat_balance = LearnedValueOutput(
        allow_null=True, help_text="Heat lost over heat given, relative to the reference."
    )
    insulation = LearnedValueOutput(allow_null=True, help_text="K [W/m2K].")
    heat_output = LearnedValueOutput(allow_null=True, help_text="Relative to the design.")
    burn = LearnedValueOutput(allow_null=True, help_text="Relative to the design.")
    rise_at_full_fire_k = serializers.FloatField(allow_null=True)
    rise_share = serializers.FloatField(allow_null=True, help_text="Of what the rise was at first.")
    gauge_high_l = serializers.FloatField(allow_null=True)
    worse_chance = serializers.FloatField(
        allow_null=True, help_text="Chance that the unit loses a quarter more heat than was known, for what it gives."
    )
    change = HealthChangeOutput(allow_null=True)


class UnitHealthView(CommandView):
    """What a unit's own readings say of its box, heater, tank and gauge."""

    tag = "units"
    roles = {"GET": "any"}
    output_serializer = UnitHealthOutput

    def get(self, request: Request, number: str) -> Response:
        unit = unit_with_state(unit_of(self.fleet.pk, number).pk)
        assert unit is not None
        return self.answer(health_document(unit, now=db_now()))
