"""Trips on the wire: what may be written, and what is answered."""

from __future__ import annotations

import re
from typing import Any

from rest_framework import serializers

from fleet.http.fields import (
    InstantField,
    QuantityField,
    StrictBooleanField,
    StrictCharField,
)
from fleet.http.serializers import StrictSerializer, many
from fleet.models import Trip

REFERENCE = r"^[A-Za-z0-9][A-Za-z0-9._-]*$"
COLD, HOT = -60.0, 80.0


class LoadInput(StrictSerializer):
    """What is carried. Limits left out are those of the commodity."""

    commodity = StrictCharField(max_length=64)
    mass_kg = QuantityField(unit="kg", min_value=0.0, max_value=60_000.0)
    temperature_c = QuantityField(unit="c", min_value=COLD, max_value=HOT, required=False, allow_null=True)
    set_point_c = QuantityField(unit="c", min_value=-20.0, max_value=40.0, required=False, allow_null=True)
    low_c = QuantityField(unit="c", min_value=COLD, max_value=HOT, required=False, allow_null=True)
    high_c = QuantityField(unit="c", min_value=COLD, max_value=HOT, required=False, allow_null=True)
    damage_c = QuantityField(unit="c", min_value=COLD, max_value=HOT, required=False, allow_null=True)
    freezes_c = QuantityField(unit="c", min_value=COLD, max_value=HOT, required=False, allow_null=True)
    cp_kj_kgk = QuantityField(unit="kj_kgk", min_value=0.1, max_value=10.0, required=False, allow_null=True)
    latent_kj_kg = QuantityField(unit="kj_kg", min_value=0.0, max_value=400.0, required=False, allow_null=True)
    dangerous_goods = StrictCharField(max_length=40, required=False, allow_null=True)


class StopInput(StrictSerializer):
    """A place on the trip, in order."""

    place = StrictCharField(max_length=120)
    arrive_at = InstantField()
    leave_at = InstantField(required=False, allow_null=True)
    door_open_min = QuantityField(unit="min", min_value=0.0, max_value=1440.0, default=0.0)
    heater_off = StrictBooleanField(required=False, allow_null=True)
    refuel = StrictBooleanField(default=False)


class AmbientPointInput(StrictSerializer):
    """Outside air at one moment; linear between points."""

    at = InstantField()
    temp_c = QuantityField(unit="c", min_value=-90.0, max_value=60.0)


class HelpInput(StrictSerializer):
    """Hours until heat is back after a failure on this trip."""

    median_h = QuantityField(unit="h", min_value=0.1, max_value=72.0)
    p90_h = QuantityField(unit="h", min_value=0.1, max_value=168.0)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["p90_h"] < attrs["median_h"]:
            raise serializers.ValidationError({"p90_h": "Must not be below median_h."})
        return attrs


class ForecastInput(StrictSerializer):
    """The outside air along the trip."""

    example = {
        "ambient": [
            {"at": "2027-01-12T16:00:00Z", "temp_c": -12.0},
            {"at": "2027-01-13T06:00:00Z", "temp_c": {"value": -16.6, "unit": "degF"}},
        ],
        "ambient_issued_at": "2027-01-12T12:00:00Z",
    }

    ambient = many(AmbientPointInput, min_length=1, max_length=600)
    ambient_issued_at = InstantField(required=False, allow_null=True)


class TripInput(StrictSerializer):
    """A trip. Give `load`, `loads`, or `"load": null` for dry goods."""

    example = {
        "reference": "T-7781",
        "planned_unit": "HB-104",
        "loading_at": "2027-01-12T16:30:00Z",
        "depart_at": "2027-01-12T18:00:00Z",
        "load": {
            "commodity": "potato",
            "mass_kg": 18000,
            "temperature_c": 9.0,
            "set_point_c": 8.0,
            "low_c": 4.0,
            "high_c": 15.0,
        },
        "stops": [
            {
                "place": "Vinterby depot",
                "arrive_at": "2027-01-13T02:00:00Z",
                "leave_at": "2027-01-13T03:00:00Z",
                "door_open_min": 25,
                "refuel": True,
            },
            {"place": "Norrholm market", "arrive_at": "2027-01-13T14:00:00Z"},
        ],
        "ambient": [
            {"at": "2027-01-12T16:00:00Z", "temp_c": -12.0},
            {"at": "2027-01-13T06:00:00Z", "temp_c": -27.0},
            {"at": "2027-01-13T15:00:00Z", "temp_c": -19.0},
        ],
        "ambient_issued_at": "2027-01-12T12:00:00Z",
        "help": {"median_h": 3.0, "p90_h": 6.0},
    }

    reference = StrictCharField(max_length=64)
    planned_unit = StrictCharField(max_length=40, required=False, allow_null=True)
    loading_at = InstantField()
    depart_at = InstantField()
    load = LoadInput(required=False, allow_null=True)
    loads = many(LoadInput, required=False, min_length=1, max_length=20)
    stops = many(StopInput, min_length=1, max_length=40)
    ambient = many(AmbientPointInput, required=False, max_length=600)
    ambient_issued_at = InstantField(required=False, allow_null=True)
    help = HelpInput(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not self.partial and ("load" in attrs) == ("loads" in attrs):
            raise serializers.ValidationError({"load": "Give one of load and loads."})
        if "load" in attrs and "loads" in attrs:
            raise serializers.ValidationError({"load": "Give one of load and loads."})
        if not self.partial:
            attrs.setdefault("ambient", [])
        return attrs

    def validate_reference(self, value: str) -> str:
        if not re.fullmatch(REFERENCE, value):
            raise serializers.ValidationError("Letters, digits, dots, dashes and underscores only.")
        return value


class TripChange(TripInput):
    """Members of a planned trip that may change."""

    example = {"depart_at": "2027-01-12T19:00:00Z", "help": {"median_h": 2.0, "p90_h": 5.0}}

    reference = None  # type: ignore[assignment]
    ambient = None
    ambient_issued_at = None  # type: ignore[assignment]


class AssignmentInput(StrictSerializer):
    example = {"unit": "HB-104"}

    unit = StrictCharField(max_length=40)


class CancelInput(StrictSerializer):
    example = {"reason": "The customer called the load off."}

    reason = StrictCharField(max_length=500, min_length=3, multiline=True)


class LoadOutput(serializers.Serializer):
    commodity = serializers.CharField()
    mass_kg = serializers.FloatField()
    temperature_c = serializers.FloatField(allow_null=True)
    set_point_c = serializers.FloatField(allow_null=True)
    low_c = serializers.FloatField(allow_null=True)
    high_c = serializers.FloatField(allow_null=True)
    damage_c = serializers.FloatField(allow_null=True)
    freezes_c = serializers.FloatField(allow_null=True)
    cp_kj_kgk = serializers.FloatField(allow_null=True)
    latent_kj_kg = serializers.FloatField(allow_null=True)
    respiration_w_kg = serializers.FloatField()
    no_heat_needed = serializers.BooleanField()
    dangerous_goods = serializers.CharField(allow_null=True)


class StopOutput(serializers.Serializer):
    place = serializers.CharField()
    arrive_at = serializers.DateTimeField()
    leave_at = serializers.DateTimeField(allow_null=True)
    door_open_min = serializers.FloatField()
    heater_off = serializers.BooleanField()
    refuel = serializers.BooleanField()


class AmbientPointOutput(serializers.Serializer):
    at = serializers.DateTimeField()
    temp_c = serializers.FloatField()


class TripOutput(serializers.ModelSerializer):
    """A trip as stored, its limits resolved."""

    planned_unit = serializers.CharField(source="planned_unit.number", default=None, allow_null=True)
    assigned_unit = serializers.CharField(source="assigned_unit.number", default=None, allow_null=True)
    loads = LoadOutput(many=True)
    stops = StopOutput(many=True)
    ambient = serializers.SerializerMethodField()
    help = serializers.SerializerMethodField()

    class Meta:
        model = Trip
        fields = (
            "reference",
            "state",
            "planned_unit",
            "assigned_unit",
            "loading_at",
            "depart_at",
            "arrive_at",
            "loads",
            "stops",
            "ambient",
            "ambient_issued_at",
            "help",
            "departed_at",
            "delivered_at",
            "cancelled_at",
            "cancel_reason",
            "revision",
        )

    def get_ambient(self, trip: Trip) -> list[dict[str, Any]]:
        return list(AmbientPointOutput([{"at": at, "temp_c": temp_c} for at, temp_c in trip.ambient], many=True).data)

    def get_help(self, trip: Trip) -> dict[str, Any] | None:
        if trip.help_median_h is None:
            return None
        return {"median_h": trip.help_median_h, "p90_h": trip.help_p90_h}
