"""Retention dates and record content against the rules they are patterned on.

The rules are for vehicles; what each source says, and how it is known, stands beside its number.
"""

from __future__ import annotations

from datetime import date

import pytest

from inspections.builtin import built_in_documents
from inspections.models import Repair, Signature
from inspections.retention import (
    agreement_until,
    driver_report_until,
    maintenance_until,
    periodic_report_until,
    training_until,
)


@pytest.mark.parametrize(
    ("written_on", "until"),
    [
        (date(2026, 1, 31), date(2026, 4, 30)),  # 49 CFR 396.11: 3 months (jjkeller.com summary, read)
        (date(2026, 11, 25), date(2027, 2, 25)),
        (date(2027, 11, 30), date(2028, 2, 29)),  # leap year
    ],
)
def test_a_drivers_report_is_kept_three_months(written_on, until):
    assert driver_report_until(written_on) == until


def test_a_periodic_report_is_kept_fourteen_months():
    # 49 CFR 396.21 (Oregon DOT recordkeeping page, read)
    assert periodic_report_until(date(2025, 12, 31)) == date(2027, 2, 28)


@pytest.mark.parametrize(
    ("last_on", "left_on", "until"),
    [
        (date(2026, 2, 1), date(2026, 3, 1), date(2027, 2, 1)),  # the year is the later clock
        (date(2026, 2, 1), date(2026, 12, 31), date(2027, 6, 30)),  # the six months are, clamped to June
        (date(2026, 2, 1), None, date(2027, 2, 1)),
    ],
)
def test_maintenance_records_are_kept_to_the_later_of_two_clocks(last_on, left_on, until):
    # 49 CFR 396.3(b): 1 year, and 6 months after the vehicle left (safety planner ch. 22, read)
    assert maintenance_until(last_on, left_on=left_on) == until


def test_training_and_agreements_are_kept_a_year():
    # 21 CFR 1.910(b) (read); 21 CFR 1.912 (identical state text, Texas 25 TAC 229.806, read)
    assert training_until(date(2027, 2, 28)) == date(2028, 2, 28)
    assert agreement_until(date(2028, 2, 29)) == date(2029, 2, 28)


def test_a_repair_is_certified_with_the_two_statements_of_the_rule():
    # 49 CFR 396.11(a)(3): the carrier certifies "repaired" or "repair unnecessary" (reglogic.com, read)
    assert set(Repair.Kind.values) == {"repaired", "repair_unnecessary"}


def test_the_next_person_signs_to_have_reviewed_the_last_report():
    # 49 CFR 396.13: review the last report and sign that it was reviewed (law.lawstack.com, read)
    assert Signature.Meaning.REVIEWED in Signature.Meaning


def _cautions(word: str) -> list[str]:
    return [
        text
        for document in built_in_documents()
        for group in document["groups"]
        for text in [group.get("caution", ""), *(item.get("caution", "") for item in group["items"])]
        if word in text.lower()
    ]


@pytest.mark.parametrize(
    ("hazard", "words"),
    [
        ("automatic start: isolate, lock, tag (29 CFR 1910.147, from memory)", ["isolate", "lock", "tag"]),
        ("guards on belts and fans (49 CFR 393.77(b) summary, read)", ["belts and fans", "guard"]),
        ("carbon monoxide, never indoors (OSHA fact sheet, read)", ["carbon monoxide", "indoors"]),
        ("glycol is poisonous when drunk (fourniture-laitiere.com, read); hot coolant scalds", ["poisonous", "scalds"]),
        ("battery gas, eye protection, insulated tools (HSE, read)", ["explosive", "eye protection", "insulated"]),
        ("never charge or jump a frozen battery (from memory)", ["frozen"]),
        ("diesel: no smoking, no petrol (from memory)", ["no smoking", "petrol"]),
    ],
)
def test_each_hazard_of_the_work_has_its_caution(hazard, words):
    for word in words:
        assert _cautions(word), f"{hazard}: no caution says {word!r}"


def test_no_item_tells_anybody_to_bypass_a_safety_device():
    for word in ("bypass", "bridge", "override", "jumper", "disable"):
        assert _cautions(word) == []
