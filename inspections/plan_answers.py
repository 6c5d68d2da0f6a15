"""Forms, history, service and work lists on the wire: what is answered."""

from __future__ import annotations

from rest_framework import serializers

from fleet.http.fields import InstantField, StrictDateField
from inspections.answers import SignatureOutput
from inspections.models import Observation, ServiceRecord, Sheet
from inspections.plan import Due


class AskedOutput(serializers.Serializer):
    name = serializers.CharField()
    required = serializers.BooleanField()  # type: ignore[assignment]
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    count = serializers.IntegerField()


class CarriedOutput(serializers.Serializer):
    """A defect that is still open on the unit."""

    id = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    note = serializers.CharField()
    blocks = serializers.BooleanField()
    state = serializers.CharField()
    opened_at = InstantField()
    inspection = serializers.IntegerField()
    observation = serializers.IntegerField()


class FormItemOutput(serializers.Serializer):
    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    look_for = serializers.CharField()
    caution = serializers.CharField()
    blocks = serializers.BooleanField()
    if_fitted = serializers.BooleanField()
    measures = AskedOutput(many=True)
    carried = CarriedOutput(many=True)
    look_closer = serializers.CharField(help_text="What the unit's own readings say about this item; empty: nothing.")


class FormGroupOutput(serializers.Serializer):
    key = serializers.CharField()
    title = serializers.CharField()
    caution = serializers.CharField()
    items = FormItemOutput(many=True)


class ReportedOutput(serializers.Serializer):
    item = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    outcome = serializers.CharField()
    note = serializers.CharField()
    state = serializers.CharField(allow_null=True)


class ReportOutput(serializers.Serializer):
    """The report the next inspector reviews."""

    id = serializers.IntegerField()
    kind = serializers.CharField()
    result = serializers.CharField()
    performed_at = serializers.CharField()
    observations = ReportedOutput(many=True)


class FormOutput(serializers.Serializer):
    """A sheet made ready for one unit."""

    unit = serializers.CharField()
    sheet = serializers.CharField()
    sheet_version = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=Sheet.Kind.choices)
    title = serializers.CharField()
    intro = serializers.CharField()
    caution = serializers.CharField()
    groups = FormGroupOutput(many=True)
    carried_elsewhere = CarriedOutput(many=True)
    open_alarms = serializers.ListField(child=serializers.DictField())
    last_report = ReportOutput(allow_null=True)


class ServiceOutput(serializers.ModelSerializer):
    unit = serializers.CharField(source="unit.number")
    performed_at = InstantField()
    recorded_at = InstantField()
    signatures = SignatureOutput(many=True)

    class Meta:
        model = ServiceRecord
        fields = (
            "id", "unit", "performed_at", "engine_hours_h", "what_done", "done_by", "recorded_at", "content_hash",
            "signatures",
        )  # fmt: skip


class WorkOutput(serializers.Serializer):
    """One unit with what is due or open on it."""

    unit = serializers.CharField()
    service = serializers.ChoiceField(choices=[(due.value, due.value) for due in Due])
    serviced_on = StrictDateField(allow_null=True)
    serviced_at_h = serializers.FloatField(allow_null=True)
    due_at_h = serializers.FloatField(allow_null=True)
    hours_left_h = serializers.FloatField(allow_null=True)
    due_on = StrictDateField(allow_null=True)
    days_left = serializers.IntegerField(allow_null=True)
    defects = serializers.ListField(child=serializers.DictField())
    wear = serializers.ListField(child=serializers.CharField())
    watch_alarms = serializers.ListField(child=serializers.DictField())


class WorkListOutput(serializers.Serializer):
    items = WorkOutput(many=True)


class FailureOutput(serializers.Serializer):
    """How often one item failed on units of one model, and at how many engine hours."""

    item = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    unit_model = serializers.CharField()
    defects = serializers.IntegerField()
    units = serializers.IntegerField()
    open = serializers.IntegerField()
    engine_hours_min_h = serializers.FloatField(allow_null=True)
    engine_hours_median_h = serializers.FloatField(allow_null=True)
    engine_hours_max_h = serializers.FloatField(allow_null=True)


class FailureListOutput(serializers.Serializer):
    items = FailureOutput(many=True)


class ItemHistoryOutput(serializers.ModelSerializer):
    """One look at one item of a unit."""

    unit = serializers.CharField(source="unit.number")
    inspection = serializers.IntegerField(source="inspection_id")
    kind = serializers.CharField(source="inspection.kind")
    performed_at = InstantField(source="inspection.performed_at")
    engine_hours_h = serializers.FloatField(source="inspection.engine_hours_h", allow_null=True)
    values = serializers.DictField()

    class Meta:
        model = Observation
        fields = (
            "id", "unit", "item", "label", "outcome", "note", "values", "inspection", "kind", "performed_at",
            "engine_hours_h",
        )  # fmt: skip
