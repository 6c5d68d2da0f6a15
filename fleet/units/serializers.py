"""Units, unit models, commodities and the policy on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from fleet.http.fields import (
    FiniteFloatField,
    InstantField,
    QuantityField,
    StrictCharField,
    StrictChoiceField,
    StrictDateField,
)
from fleet.http.serializers import StrictSerializer
from fleet.models import Commodity, QuarantinedEvent, Unit, UnitModel
from fleet.policy import THRESHOLDS
from fleet.units.design import DESIGN_NAMES, DESIGN_VALUES, ORDERED


class _DesignInput(StrictSerializer):
    def get_fields(self) -> dict[str, serializers.Field]:
        return super().get_fields() | {value.name: value.field() for value in DESIGN_VALUES}

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("nominal_v") not in (None, 12.0, 24.0):
            raise serializers.ValidationError({"nominal_v": "Must be 12 or 24."})
        for lower, upper in ORDERED:
            low, high = attrs.get(lower), attrs.get(upper)
            if low is not None and high is not None and low > high:
                raise serializers.ValidationError({lower: f"Must not be above {upper}."})
        return attrs


class UnitModelInput(_DesignInput):
    """Design data of one build. Values left out are not known; the thermal method's defaults apply where it has any."""

    example = {
        "key": "box-8",
        "name": "Box with 8 kW",
        "k_w_m2k": 0.45,
        "area_m2": 147.0,
        "volume_m3": 85.0,
        "heater_output_kw": 8.0,
        "burn_high_l_h": 1.1,
        "tank_l": {"value": 50, "unit": "gal"},
        "reserve_l": 15.0,
        "nominal_v": 12.0,
    }

    key = StrictCharField(max_length=64)
    name = StrictCharField(max_length=120)

    def validate_key(self, value: str) -> str:
        if not value.replace("-", "").replace("_", "").isalnum() or not value.isascii():
            raise serializers.ValidationError("Letters, digits, dashes and underscores only.")
        return value


class UnitModelChange(_DesignInput):
    example = {"heater_output_kw": 7.5}

    name = StrictCharField(max_length=120, required=False)


class UnitModelOutput(serializers.ModelSerializer):
    class Meta:
        model = UnitModel
        fields = ("key", "name", *DESIGN_NAMES, "version", "revision")


class UnitInput(StrictSerializer):
    example = {"number": "HB-104", "model": "box-8", "built_on": "2019-05-02"}

    number = StrictCharField(max_length=40)
    model = StrictCharField(max_length=64)
    service = StrictChoiceField(choices=Unit.Service.choices, default=Unit.Service.IN_SERVICE)
    built_on = StrictDateField(required=False, allow_null=True)
    k_test_w_m2k = QuantityField(unit="w_m2k", min_value=0.1, max_value=3.0, required=False, allow_null=True)
    k_tested_on = StrictDateField(required=False, allow_null=True)
    serviced_at_h = QuantityField(unit="h", min_value=0.0, max_value=500_000.0, required=False, allow_null=True)
    serviced_on = StrictDateField(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("k_test_w_m2k") is not None and attrs.get("k_tested_on") is None and not self.partial:
            raise serializers.ValidationError({"k_tested_on": "A tested K value needs its date."})
        return attrs


class UnitChange(UnitInput):
    example = {"service": "out_of_service"}

    number = None  # type: ignore[assignment]
    model = StrictCharField(max_length=64, required=False)
    service = StrictChoiceField(choices=Unit.Service.choices, required=False)


class UnitOutput(serializers.ModelSerializer):
    model = serializers.CharField(source="model.key")

    class Meta:
        model = Unit
        fields = (
            "number",
            "model",
            "service",
            "built_on",
            "k_test_w_m2k",
            "k_tested_on",
            "serviced_at_h",
            "serviced_on",
            "revision",
        )


class KnownOutput(serializers.Serializer):
    value = serializers.JSONField()
    at = InstantField()
    age_min = serializers.FloatField()
    source = serializers.CharField()  # type: ignore[assignment]  # a member, not the option


class UnitStateOutput(serializers.Serializer):
    unit = serializers.CharField()
    newest_at = InstantField(allow_null=True)
    values = serializers.DictField(child=KnownOutput())
    facts = serializers.DictField(child=KnownOutput())
    version = serializers.IntegerField()


class ReadingOutput(serializers.Serializer):
    at = InstantField()
    source = serializers.CharField(source="source.name")  # type: ignore[assignment]  # a member, not the option
    return_air_c = serializers.FloatField(allow_null=True)
    discharge_air_c = serializers.FloatField(allow_null=True)
    set_point_c = serializers.FloatField(allow_null=True)
    ambient_c = serializers.FloatField(allow_null=True)
    cargo_c = serializers.FloatField(allow_null=True)
    coolant_c = serializers.FloatField(allow_null=True)
    fuel_l = serializers.FloatField(allow_null=True)
    battery_v = serializers.FloatField(allow_null=True)
    engine_hours_h = serializers.FloatField(allow_null=True)
    speed_km_h = serializers.FloatField(allow_null=True)
    heater_running = serializers.BooleanField(allow_null=True)
    unit_on = serializers.BooleanField(allow_null=True)
    door_open = serializers.BooleanField(allow_null=True)


class CommodityOutput(serializers.ModelSerializer):
    damage_c = serializers.SerializerMethodField()
    own = serializers.SerializerMethodField()

    class Meta:
        model = Commodity
        fields = (
            "key",
            "name",
            "freezes_c",
            "chill_c",
            "chill_hours",
            "damage_c",
            "low_c",
            "high_c",
            "cp_kj_kgk",
            "latent_kj_kg",
            "respiration_w_kg",
            "no_heat_needed",
            "hazard",
            "source",
            "own",
        )

    def get_damage_c(self, row: Commodity) -> float | None:
        return max((limit for limit in (row.freezes_c, row.chill_c) if limit is not None), default=None)

    def get_own(self, row: Commodity) -> bool:
        return row.fleet_id is not None


class ThresholdOutput(serializers.Serializer):
    name = serializers.CharField()
    value = serializers.FloatField()
    default = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    words = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]  # a member, not the option


class PolicyOutput(serializers.Serializer):
    thresholds = ThresholdOutput(many=True)
    revision = serializers.IntegerField()


class PolicyInput(StrictSerializer):
    """Thresholds to change; null puts one back to its default."""

    example = {"score_floor": 95.0}

    def get_fields(self) -> dict[str, serializers.Field]:
        return {
            row.name: FiniteFloatField(
                min_value=row.low, max_value=row.high, required=False, allow_null=True, help_text=row.words
            )
            for row in THRESHOLDS
        }


class QuarantineOutput(serializers.ModelSerializer):
    id = serializers.IntegerField()
    closed_by = serializers.CharField(source="closed_by.name", default=None, allow_null=True)

    class Meta:
        model = QuarantinedEvent
        fields = (
            "id",
            "source",
            "event_id",
            "event_type",
            "subject",
            "code",
            "detail",
            "pointer",
            "retryable",
            "raw",
            "times_received",
            "received_at",
            "state",
            "reason",
            "closed_at",
            "closed_by",
        )


class DiscardInput(StrictSerializer):
    example = {"reason": "The gateway was being tested."}

    reason = StrictCharField(max_length=500, min_length=3, multiline=True)


class ItemOutput(serializers.Serializer):
    """What became of one item that was not plainly accepted."""

    index = serializers.IntegerField()
    id = serializers.CharField(allow_blank=True)
    status = serializers.ChoiceField(choices=["duplicate", "late", "quarantined"])
    code = serializers.CharField(required=False)
    detail = serializers.CharField(required=False)
    pointer = serializers.CharField(required=False)
    retryable = serializers.BooleanField(required=False)
    quarantine_id = serializers.IntegerField(required=False)


class BatchOutput(serializers.Serializer):
    received = serializers.IntegerField()
    accepted = serializers.IntegerField()
    duplicate = serializers.IntegerField()
    quarantined = serializers.IntegerField()
    items = ItemOutput(many=True)


class ReplayOutput(serializers.Serializer):
    state = serializers.ChoiceField(choices=["held", "replayed"])
    item = ItemOutput(allow_null=True)
