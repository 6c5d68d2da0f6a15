"""What is known of a unit's box, heater, tank and gauge, as one document for the API and the pages."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from fleet.models import Unit
from fleet.readiness.facts import UnitFacts
from thermal.adapter.knowledge import knowledge_of
from thermal.adapter.learning.build import reference_for
from thermal.adapter.learning.findings import day_text
from thermal.adapter.models import UnitLearning

UNKNOWN: dict[str, Any] = {"days": 0, "hours": 0.0, "span_k": 0.0, "enough": False}
VALUES = ("ratio", "k_w_m2k", "output", "burn")


def health_document(unit: Unit, *, now: datetime) -> dict[str, Any]:
    """What is known of *unit*, read with its model and state. One statement.

    `plan` is what forecasts take (cautious), the learned values are what the readings say.
    """
    facts = UnitFacts.from_rows(unit, unit.model, unit.state)
    row = UnitLearning.objects.for_fleet(unit.fleet_id).filter(unit_id=unit.pk).first()
    said = UNKNOWN | (row.condition if row is not None else {})
    change = said.get("change")
    k_known = facts.design["k_w_m2k"] is not None or facts.k_test_w_m2k is not None
    reference = reference_for(facts, now) if k_known else None
    known = knowledge_of(facts, now) if k_known else None
    return {
        "unit": unit.number,
        "updated_at": None if row is None else row.learned_at,
        "watched_to": None if row is None else row.watched_to,
        "days": said["days"],
        "hours_h": said["hours"],
        "enough": said["enough"],
        "reference": None
        if reference is None
        else {"k_w_m2k": round(reference.k_w_m2k, 3), "source": reference.source, "sd_ln": round(reference.sd_ln, 3)},
        "plan": None
        if known is None
        else {
            "k_w_m2k": round(known.k_w_m2k, 3),
            "k_from": known.k_source,
            "sd_ln_k": known.sd_ln_k,
            "words": known.words,
        },
        "heat_balance": said.get("ratio"),
        "insulation": said.get("k_w_m2k"),
        "heat_output": said.get("output"),
        "burn": said.get("burn"),
        "rise_at_full_fire_k": said.get("full_rise_k"),
        "rise_share": said.get("rise_share"),
        "gauge_high_l": said.get("gauge_high_l"),
        "worse_chance": said.get("worse_chance"),
        "change": None
        if change is None
        else {"since": day_text(change["since"]), "factor": change["factor"], "cause": change["cause"]},
    }
