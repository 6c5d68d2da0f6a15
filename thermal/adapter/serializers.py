"""The calculator and the hour-by-hour forecast on the wire.

Field names, limits and defaults come from the model's own table of inputs (`thermal.defaults`): a new input needs no
change here.
"""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from fleet.http.fields import FiniteFloatField, QuantityField, StrictBooleanField, StrictCharField
from fleet.http.serializers import StrictSerializer, many
from thermal.defaults import FIELDS, REQUIRED, Field

DIMENSIONS = {
    "degC": "c",
    "K": "k",
    "kW": "kw",
    "L": "l",
    "L/h": "l_h",
    "W/m2K": "w_m2k",
    "m2": "m2",
    "m3": "m3",
    "m": "m",
    "kg": "kg",
    "h": "h",
    "min": "min",
    "kJ/kgK": "kj_kgk",
    "kJ/kg": "kj_kg",
    "W/mK": "w_mk",
}
SPECIAL = frozenset({"trip.ambient_c", "trip.stops"})


def field_of(row: Field, *, required: bool) -> serializers.Field[Any, Any, Any, Any]:
    """The strict field of one input, with the limits of the table."""
    options: dict[str, Any] = {"required": required, "help_text": f"{row.unit}. Default: {row.source}."}
    if not required:
        options["allow_null"] = True
    if isinstance(row.default, bool):
        return StrictBooleanField(**options)
    limits: dict[str, Any] = {"min_value": row.low, "max_value": row.high}
    if row.unit in DIMENSIONS:
        return QuantityField(unit=DIMENSIONS[row.unit], **limits, **options)
    return FiniteFloatField(**limits, **options)


def group_fields(
    group: str, *, optional: frozenset[str] = frozenset()
) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
    """Fields of one group of the table, by their names on the wire."""
    found = {}
    for row in FIELDS:
        prefix, _, name = row.name.partition(".")
        if prefix == group and name and row.name not in SPECIAL:
            found[name] = field_of(row, required=row.default is REQUIRED and name not in optional)
    return found


class BoxInput(StrictSerializer):
    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return group_fields("box")


class HeaterInput(StrictSerializer):
    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return group_fields("heater")


class EstimateLoadInput(StrictSerializer):
    """`commodity` fills whatever is left out from the commodity table."""

    commodity = StrictCharField(max_length=64, required=False, allow_null=True)

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return super().get_fields() | group_fields("load")


class EstimateStopInput(StrictSerializer):
    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return group_fields("stop")


class EstimateTripInput(StrictSerializer):
    """Ambient at whole hours from departure, linear in between; stops in hours from departure."""

    ambient_c = serializers.ListField(
        child=QuantityField(unit="c", min_value=-70.0, max_value=60.0), min_length=2, max_length=337
    )
    stops = many(EstimateStopInput, required=False, max_length=60)

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return super().get_fields() | group_fields("trip")


class RiskInput(StrictSerializer):
    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return group_fields("risk")


class EstimateInput(StrictSerializer):
    """Give `box` and `heater`, or the number of a `unit` of the fleet that stands for both."""

    example = {
        "box": {"k_w_m2k": 0.45, "area_m2": 147.0},
        "heater": {"output_kw": 8.0},
        "load": {"commodity": "potato", "mass_kg": 18000, "temperature_c": 8.0},
        "trip": {"ambient_c": [-12.0, -18.0, -22.0, -15.0], "set_point_c": 7.0},
    }

    unit = StrictCharField(max_length=40, required=False, allow_null=True)
    box = BoxInput(required=False, allow_null=True)
    heater = HeaterInput(required=False, allow_null=True)
    load = EstimateLoadInput()
    trip = EstimateTripInput()
    risk = RiskInput(required=False, allow_null=True)

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        top = {row.name: field_of(row, required=False) for row in FIELDS if "." not in row.name}
        return super().get_fields() | top

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("unit") is None:
            missing = {name: "Required without a unit." for name in ("box", "heater") if attrs.get(name) is None}
            if missing:
                raise serializers.ValidationError(missing)
        elif attrs.get("box") is not None or attrs.get("heater") is not None:
            raise serializers.ValidationError({"unit": "Give a unit, or a box and a heater, not both."})
        return attrs


class Numbers(serializers.ListField):
    child = serializers.FloatField(allow_null=True)


class EstimateHoursOutput(serializers.Serializer[Any]):
    at_h = serializers.ListField(child=serializers.IntegerField())
    air_c = Numbers()
    edge_c = Numbers()
    core_c = Numbers()
    heat_kw = Numbers()
    fuel_l = Numbers()


class EstimateCauses(serializers.Serializer[Any]):
    cold = serializers.FloatField()
    hot = serializers.FloatField()
    fuel = serializers.FloatField()
    breakdown = serializers.FloatField()


class EstimateOutput(serializers.Serializer[Any]):
    """What the physics says from numbers alone; see docs/thermal-method.md."""

    score = serializers.FloatField()
    score_se = serializers.FloatField()
    causes = EstimateCauses()
    coldest_edge_c = serializers.FloatField(allow_null=True)
    coldest_edge_h = serializers.FloatField(allow_null=True)
    warmest_c = serializers.FloatField(allow_null=True)
    fuel_l = serializers.FloatField()
    fuel_out_h = serializers.FloatField(allow_null=True)
    engine_h = serializers.FloatField()
    warm_up_empty_h = serializers.FloatField(allow_null=True)
    warm_up_loaded_h = serializers.FloatField(allow_null=True)
    equilibrium_c = serializers.FloatField(allow_null=True)
    capacity_ratio = serializers.FloatField(allow_null=True)
    capacity_worst_h = serializers.FloatField(allow_null=True)
    heat_needed_kw = serializers.FloatField()
    heat_available_kw = serializers.FloatField()
    damage_after_h = Numbers()
    plateau_h = Numbers()
    hours = EstimateHoursOutput()
    defaults_used = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())
    version = serializers.CharField()


class TripHoursOutput(serializers.Serializer[Any]):
    at = serializers.ListField(child=serializers.DateTimeField())
    ambient_c = Numbers()
    air_c = Numbers()
    edge_c = Numbers()
    core_c = Numbers()
    heat_kw = Numbers()
    fuel_l = Numbers()
    damage_after_h = Numbers()


class TripForecastOutput(serializers.Serializer[Any]):
    """The box hour by hour, from departure (or from now, under way) to the last arrival."""

    trip = serializers.CharField()
    unit = serializers.CharField()
    starts_at = serializers.DateTimeField()
    set_point_c = serializers.FloatField()
    damage_c = serializers.FloatField(allow_null=True)
    high_c = serializers.FloatField(allow_null=True)
    coldest_edge_p10_c = serializers.FloatField(allow_null=True)
    k_from = serializers.CharField()
    hours = TripHoursOutput()
    assumptions = serializers.ListField(child=serializers.CharField())
    version = serializers.CharField()
