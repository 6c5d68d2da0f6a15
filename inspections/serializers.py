"""Inspections on the wire: what may be written."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from fleet.http.fields import (
    FiniteFloatField,
    InstantField,
    QuantityField,
    StrictBooleanField,
    StrictCharField,
    StrictChoiceField,
    StrictIntegerField,
)
from fleet.http.serializers import StrictSerializer
from inspections.measures import BY_NAME, MEASURES, Measure
from inspections.models import Observation, Repair, Sheet

KEY = r"^[a-z0-9][a-z0-9_-]*$"
INT64 = 2**53


class ValuesInput(StrictSerializer):
    """Measured values by name; a sheet says which of them an item asks for."""

    def get_fields(self) -> dict[str, serializers.Field]:
        return {measure.name: measure_field(measure) for measure in MEASURES}


def measure_field(measure: Measure) -> serializers.Field:
    """The strict field of one measured value."""
    kwargs: dict[str, Any] = {"help_text": measure.words}
    if not measure.many:
        kwargs |= {"required": False, "allow_null": True}
    field: serializers.Field
    if measure.choices:
        field = StrictChoiceField(choices=measure.choices, **kwargs)
    elif measure.unit is None:
        field = FiniteFloatField(min_value=measure.low, max_value=measure.high, **kwargs)
    else:
        field = QuantityField(unit=measure.unit, min_value=measure.low, max_value=measure.high, **kwargs)
    if not measure.many:
        return field
    return serializers.ListField(child=field, min_length=1, max_length=30, required=False)


class ObservationInput(StrictSerializer):
    """What was seen of one item."""

    item = StrictCharField(max_length=64)
    outcome = StrictChoiceField(choices=Observation.Outcome.choices)
    note = StrictCharField(max_length=2000, multiline=True, default="", allow_blank=True)
    values = ValuesInput(required=False)
    photos = serializers.ListField(
        child=StrictIntegerField(min_value=1, max_value=INT64), required=False, max_length=10,
        help_text="Ids of photos uploaded before.",
    )  # fmt: skip


class SignatureInput(StrictSerializer):
    """The caller signs with their own name and role: what the signature means, and their device's clock."""

    example = {"meaning": "performed", "device_at": "2027-01-12T05:38:00Z"}

    meaning = StrictChoiceField(choices=[("performed", "performed")], default="performed")
    device_at = InstantField(required=False, allow_null=True)
    reviewed = StrictIntegerField(
        min_value=1, max_value=INT64, required=False, allow_null=True,
        help_text="Id of the unit's last report, which the signer has reviewed. Needed when there is one.",
    )  # fmt: skip


class RepairSignatureInput(StrictSerializer):
    """The caller signs that the work was done, or that none was necessary."""

    meaning = StrictChoiceField(choices=[("repaired", "repaired")], default="repaired")
    device_at = InstantField(required=False, allow_null=True)


class ServiceSignatureInput(StrictSerializer):
    """The caller signs that the service was performed."""

    meaning = StrictChoiceField(choices=[("performed", "performed")], default="performed")
    device_at = InstantField(required=False, allow_null=True)


class InspectionInput(StrictSerializer):
    """A filled sheet of one unit. With `signature` it is a record at once, without one it is a draft."""

    example = {
        "sheet": "pre-trip",
        "unit": "HB-104",
        "performed_at": "2027-01-12T05:35:00Z",
        "observations": [
            {"item": "belt", "outcome": "wear", "note": "Frayed on one side."},
            {"item": "fuel", "outcome": "sound", "values": {"fuel_dip_l": 150.0}},
        ],
    }

    sheet = StrictCharField(max_length=64)
    sheet_version = StrictIntegerField(min_value=1, required=False, allow_null=True)
    unit = StrictCharField(max_length=40)
    performed_at = InstantField(required=False, allow_null=True)
    trip = StrictCharField(max_length=64, required=False, allow_null=True)
    observations = ObservationInput(many=True, required=False, max_length=200)  # type: ignore[call-arg]
    signature = SignatureInput(required=False, allow_null=True)


class DraftChange(StrictSerializer):
    """Observations to add to a draft; an item given again replaces what the draft has."""

    example = {"observations": [{"item": "belt", "outcome": "sound"}]}

    performed_at = InstantField(required=False)
    observations = ObservationInput(many=True, required=False, max_length=200)  # type: ignore[call-arg]


class CorrectionInput(StrictSerializer):
    """A whole inspection that takes the place of a signed one."""

    example = {
        "reason": "The belt of another unit was described.",
        "observations": [{"item": "belt", "outcome": "sound"}],
        "signature": {"meaning": "performed"},
    }

    reason = StrictCharField(min_length=10, max_length=2000, multiline=True)
    performed_at = InstantField(required=False, allow_null=True)
    observations = ObservationInput(many=True, min_length=1, max_length=200)  # type: ignore[call-arg]
    signature = SignatureInput()


class RecheckInput(StrictSerializer):
    """Another look at items of a signed inspection."""

    example = {
        "observations": [{"item": "belt", "outcome": "sound", "note": "New belt."}],
        "signature": {"meaning": "performed"},
    }

    performed_at = InstantField(required=False, allow_null=True)
    observations = ObservationInput(many=True, min_length=1, max_length=200)  # type: ignore[call-arg]
    signature = SignatureInput()


class RepairInput(StrictSerializer):
    """What was done about a defect, or why nothing has to be."""

    example = {
        "observation": 17,
        "kind": "repaired",
        "what_done": "Belt changed.",
        "parts": ["belt"],
        "signature": {"meaning": "repaired"},
    }

    observation = StrictIntegerField(min_value=1, max_value=INT64)
    kind = StrictChoiceField(choices=Repair.Kind.choices)
    what_done = StrictCharField(
        min_length=3, max_length=2000, multiline=True, help_text="What was done; for `repair_unnecessary` the reason."
    )
    parts = serializers.ListField(child=StrictCharField(max_length=120), required=False, max_length=50)
    done_by = StrictCharField(max_length=120, required=False, help_text="Who did the work; you, when left out.")
    performed_at = InstantField(required=False, allow_null=True)
    signature = RepairSignatureInput()


class ServiceInput(StrictSerializer):
    """One service by the plan."""

    example = {
        "engine_hours_h": 1834.2,
        "what_done": "Oil and filters changed.",
        "signature": {"meaning": "performed"},
    }

    engine_hours_h = QuantityField(unit="h", min_value=0.0, max_value=500_000.0)
    what_done = StrictCharField(min_length=3, max_length=2000, multiline=True)
    done_by = StrictCharField(max_length=120, required=False, help_text="Who did the work; you, when left out.")
    performed_at = InstantField(required=False, allow_null=True)
    signature = ServiceSignatureInput()


class MeasureInput(StrictSerializer):
    """A value an item asks for. A limit is a number or the name of a design value of the unit model."""

    name = StrictChoiceField(choices=[(name, name) for name in BY_NAME])
    required = StrictBooleanField(default=False)  # type: ignore[assignment]
    low = FiniteFloatField(min_value=-1e6, max_value=1e6, required=False, allow_null=True)
    high = FiniteFloatField(min_value=-1e6, max_value=1e6, required=False, allow_null=True)
    low_design = StrictCharField(max_length=40, required=False, allow_null=True)
    high_design = StrictCharField(max_length=40, required=False, allow_null=True)
    per_12v = StrictBooleanField(default=False)
    count = StrictIntegerField(min_value=1, max_value=30, default=1)
    source = StrictCharField(max_length=200, required=False, allow_blank=True)  # type: ignore[assignment]


class ItemInput(StrictSerializer):
    """One item to look at."""

    key = StrictCharField(max_length=64)
    label = StrictCharField(max_length=120)  # type: ignore[assignment]
    look_for = StrictCharField(max_length=2000, multiline=True)
    caution = StrictCharField(max_length=2000, multiline=True, default="", allow_blank=True)
    blocks = StrictBooleanField()
    if_fitted = StrictBooleanField(default=False)
    measures = MeasureInput(many=True, required=False, max_length=10)  # type: ignore[call-arg]


class GroupInput(StrictSerializer):
    """Items in the order a person walks, with what endangers them there."""

    key = StrictCharField(max_length=64)
    title = StrictCharField(max_length=120)
    caution = StrictCharField(max_length=2000, multiline=True, default="", allow_blank=True)
    items = ItemInput(many=True, min_length=1, max_length=60)  # type: ignore[call-arg]


class SheetInput(StrictSerializer):
    """A new version of a sheet of the fleet."""

    example = {
        "key": "winter-check",
        "kind": "seasonal",
        "title": "Before the winter",
        "groups": [
            {
                "key": "outside",
                "title": "Outside",
                "items": [
                    {
                        "key": "drain",
                        "label": "Floor drain",
                        "look_for": "Ice or dirt in the drain.",
                        "blocks": False,
                    }
                ],
            }
        ],
    }

    key = StrictCharField(max_length=64)
    kind = StrictChoiceField(choices=Sheet.Kind.choices)
    title = StrictCharField(max_length=120)
    intro = StrictCharField(max_length=4000, multiline=True, default="", allow_blank=True)
    unit_model = StrictCharField(max_length=64, required=False, allow_null=True)
    groups = GroupInput(many=True, min_length=1, max_length=20)  # type: ignore[call-arg]
