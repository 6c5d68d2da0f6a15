"""What readings ask an inspector to look at stands on the form of that unit, at its item."""

from __future__ import annotations

from datetime import datetime

from fleet.models import Fleet
from fleet.readiness.selectors import unit_with_state
from fleet.units.state import put_facts
from inspections.forms import form_document
from tests import factories as f
from thermal.adapter.learning.days import LOOK_AT_FACT


def test_an_item_that_readings_speak_of_is_to_be_looked_at_closely(tarn: Fleet, now: datetime) -> None:
    unit = f.make_unit(tarn)
    put_facts({unit.pk: {LOOK_AT_FACT: [{"item": "doors", "why": "The box loses more."}]}}, at=now, source="learning")
    known = unit_with_state(unit.pk)
    assert known is not None
    items = [item for group in form_document(tarn, known, "pre-trip", now=now)["groups"] for item in group["items"]]
    closer = {item["key"]: item["look_closer"] for item in items}
    assert closer.pop("doors") == "The box loses more."
    assert set(closer.values()) == {""}
