"""Code books on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from alarms.codebooks.entries import LONGEST, MOST_ENTRIES, Entry, twins
from alarms.codebooks.tables import read_csv
from alarms.models import CodeBook, Tier
from fleet.http.fields import InstantField, StrictBooleanField, StrictCharField, StrictChoiceField
from fleet.http.serializers import StrictSerializer

LONGEST_TABLE = 900_000


class EntryInput(StrictSerializer):
    """What one code means."""

    code = StrictCharField(max_length=LONGEST["code"])
    tier = StrictChoiceField(choices=Tier.choices)
    component = StrictCharField(max_length=LONGEST["component"])
    meaning = StrictCharField(max_length=LONGEST["meaning"])
    what_to_do = StrictCharField(max_length=LONGEST["what_to_do"])


class CodeBookInput(StrictSerializer):
    """The whole book of a unit model: as `entries`, or as a table in `csv` with the same columns."""

    example = {
        "unit_model": "box-8",
        "entries": [
            {
                "code": "coolant-hot-2",
                "tier": "stop",
                "component": "coolant",
                "meaning": "The coolant is too hot.",
                "what_to_do": "Stop the heater, let it cool, look for a leak.",
            }
        ],
        "dry_run": True,
    }

    unit_model = StrictCharField(max_length=64)
    entries: Any = EntryInput(many=True, required=False, max_length=MOST_ENTRIES)  # type: ignore[call-arg]
    csv = StrictCharField(max_length=LONGEST_TABLE, required=False, multiline=True)
    note = StrictCharField(max_length=300, required=False, allow_blank=True, default="")
    dry_run = StrictBooleanField(default=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("entries" in attrs) == ("csv" in attrs):
            raise serializers.ValidationError({"entries": "Send either entries or csv."})
        if "csv" in attrs:
            return attrs | {"book": read_csv(attrs["csv"])}
        book = [Entry(**entry) for entry in attrs["entries"]]
        if repeated := twins(book):
            codes = ", ".join(sorted({book[place].code for place in repeated}))
            raise serializers.ValidationError({"entries": f"These codes stand more than once: {codes}."})
        return attrs | {"book": book}


class EntryOutput(serializers.Serializer):
    code = serializers.CharField()
    tier = serializers.ChoiceField(choices=Tier.choices)
    component = serializers.CharField()
    meaning = serializers.CharField()
    what_to_do = serializers.CharField()


class CodeBookOutput(serializers.ModelSerializer):
    """One version of a unit model's book."""

    id = serializers.IntegerField()
    unit_model = serializers.CharField(source="unit_model.key")
    imported_at = InstantField()
    imported_by = serializers.CharField(source="imported_by.name", default=None, allow_null=True)

    class Meta:
        model = CodeBook
        fields = ("id", "unit_model", "version", "entry_count", "note", "imported_at", "imported_by")


class WholeBookOutput(CodeBookOutput):
    """The same with its entries."""

    entries = EntryOutput(many=True, source="sorted_entries")

    class Meta(CodeBookOutput.Meta):
        fields = (*CodeBookOutput.Meta.fields, "entries")  # type: ignore[assignment]


class ChangeOutput(serializers.Serializer):
    code = serializers.CharField()
    field = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class RemappedOutput(serializers.Serializer):
    alarm = serializers.IntegerField(source="alarm_id")
    unit = serializers.CharField()
    code = serializers.CharField()
    tier_before = serializers.CharField()
    tier = serializers.ChoiceField(choices=Tier.choices)


class ImportOutput(serializers.Serializer):
    """What an import changed, or in a dry run would change."""

    unit_model = serializers.CharField()
    dry_run = serializers.BooleanField()
    stored = serializers.BooleanField()
    book = CodeBookOutput(allow_null=True)
    lines = serializers.ListField(child=serializers.CharField(), source="difference.lines")
    added = EntryOutput(many=True, source="difference.added")
    removed = EntryOutput(many=True, source="difference.removed")
    changed = ChangeOutput(many=True, source="difference.changed")
    unchanged = serializers.IntegerField(source="difference.unchanged")
    open_alarms = RemappedOutput(many=True, source="remapped")


class UnmappedOutput(serializers.Serializer):
    unit_model = serializers.CharField()
    code = serializers.CharField()
    units = serializers.IntegerField()
    records = serializers.IntegerField()
    open = serializers.IntegerField()
    first_raised_at = InstantField()
    last_raised_at = InstantField()
    text = serializers.CharField(allow_blank=True)


class UnmappedListOutput(serializers.Serializer):
    items = UnmappedOutput(many=True)
