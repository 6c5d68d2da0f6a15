"""Inspections on the wire: what is answered."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fleet.http.fields import InstantField
from inspections.models import Defect, Inspection, Observation, Photo, Repair, Sheet, Signature


class SheetOutput(serializers.ModelSerializer):
    """One version of a sheet, with the words of every item."""

    unit_model = serializers.CharField(source="unit_model.key", default=None, allow_null=True)
    own = serializers.SerializerMethodField()
    created_at = InstantField()

    class Meta:
        model = Sheet
        fields = (
            "id", "key", "version", "kind", "title", "intro", "unit_model", "own", "groups", "content_hash",
            "created_at",
        )  # fmt: skip

    def get_own(self, row: Sheet) -> bool:
        return row.fleet_id is not None


class SignatureOutput(serializers.ModelSerializer):
    server_at = InstantField()
    device_at = InstantField(allow_null=True)

    class Meta:
        model = Signature
        fields = ("meaning", "name", "role", "server_at", "device_at")


class PhotoOutput(serializers.ModelSerializer):
    """A photo; its picture is at `photos/{id}/picture/`."""

    observation = serializers.IntegerField(source="observation_id", allow_null=True)
    uploaded_by = serializers.CharField(source="uploaded_by.name")
    uploaded_at = InstantField()

    class Meta:
        model = Photo
        fields = ("id", "observation", "sha256", "size_bytes", "width_px", "height_px", "uploaded_by", "uploaded_at")


class ObservationOutput(serializers.ModelSerializer):
    values = serializers.DictField()
    photos: Any = serializers.PrimaryKeyRelatedField(many=True, read_only=True)

    class Meta:
        model = Observation
        fields = ("id", "item", "label", "outcome", "blocks", "if_fitted", "note", "values", "photos")


class RepairOutput(serializers.ModelSerializer):
    unit = serializers.CharField(source="unit.number")
    observation = serializers.IntegerField(source="observation_id")
    inspection = serializers.IntegerField(source="observation.inspection_id")
    parts = serializers.ListField(child=serializers.CharField())
    performed_at = InstantField()
    recorded_at = InstantField()
    signatures = SignatureOutput(many=True)

    class Meta:
        model = Repair
        fields = (
            "id", "unit", "inspection", "observation", "item", "kind", "what_done", "parts", "done_by", "performed_at",
            "recorded_at", "content_hash", "signatures",
        )  # fmt: skip


class InspectionSummary(serializers.ModelSerializer):
    """One inspection in a list."""

    unit = serializers.CharField(source="unit.number")
    sheet = serializers.CharField(source="sheet.key")
    sheet_version = serializers.IntegerField(source="sheet.version")
    result = serializers.ChoiceField(choices=Inspection.Result.choices, allow_blank=True)
    trip = serializers.CharField(source="trip.reference", default=None, allow_null=True)
    performed_at = InstantField()
    started_at = InstantField()
    signed_at = InstantField(allow_null=True)
    refers_to = serializers.IntegerField(source="refers_to_id", allow_null=True)
    supersedes = serializers.IntegerField(source="supersedes_id", allow_null=True)
    reviewed = serializers.IntegerField(source="reviewed_id", allow_null=True)

    class Meta:
        model = Inspection
        fields: tuple[str, ...] = (
            "id", "unit", "sheet", "sheet_version", "kind", "state", "result", "trip", "performed_at", "started_at",
            "signed_at", "arrival", "engine_hours_h", "reviewed", "refers_to", "supersedes", "reason", "content_hash",
            "revision",
        )  # fmt: skip


class InspectionOutput(InspectionSummary):
    """One inspection with everything under it."""

    observations = serializers.SerializerMethodField()
    signatures = SignatureOutput(many=True)
    repairs = serializers.SerializerMethodField()
    rechecks = serializers.SerializerMethodField()
    superseded_by = serializers.SerializerMethodField()

    class Meta(InspectionSummary.Meta):
        fields = (
            *InspectionSummary.Meta.fields, "observations", "signatures", "repairs", "rechecks", "superseded_by",
        )  # fmt: skip

    @extend_schema_field(ObservationOutput(many=True))
    def get_observations(self, row: Inspection) -> list[dict[str, Any]]:
        rows = sorted(row.observations.all(), key=lambda seen: seen.position)
        return list(ObservationOutput(rows, many=True).data)

    @extend_schema_field(RepairOutput(many=True))
    def get_repairs(self, row: Inspection) -> list[dict[str, Any]]:
        rows = Repair.objects.for_fleet(row.fleet_id).filter(observation__inspection=row)
        rows = rows.select_related("unit", "observation").prefetch_related("signatures")
        return list(RepairOutput(rows.order_by("pk"), many=True).data)

    def get_rechecks(self, row: Inspection) -> list[int]:
        return list(row.rechecks.order_by("pk").values_list("pk", flat=True))

    def get_superseded_by(self, row: Inspection) -> int | None:
        newer: int | None = (
            Inspection.objects.for_fleet(row.fleet_id).filter(supersedes=row).values_list("pk", flat=True).first()
        )
        return newer


class DefectOutput(serializers.ModelSerializer):
    """One defect of a unit, from its first observation to the re-check that closed it."""

    unit = serializers.CharField(source="unit.number")
    note = serializers.CharField(source="opened_by.note")
    observation = serializers.IntegerField(source="opened_by_id")
    inspection = serializers.IntegerField(source="opened_by.inspection_id")
    repair = serializers.IntegerField(source="repair_id", allow_null=True)
    closed_by = serializers.IntegerField(source="closed_by.inspection_id", default=None, allow_null=True)
    opened_at = InstantField()
    seen_at = InstantField()
    repaired_at = InstantField(allow_null=True)
    closed_at = InstantField(allow_null=True)

    class Meta:
        model = Defect
        fields = (
            "id", "unit", "item", "label", "note", "blocks", "state", "inspection", "observation", "opened_at",
            "seen_at", "engine_hours_h", "repaired_at", "repair", "closed_at", "closed_by",
        )  # fmt: skip
