"""inspections.pre_trip as a pure function of facts and time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fleet.models.readiness import Phase
from fleet.policy import Policy
from fleet.readiness.facts import Design, Facts, Known, TripFacts, UnitFacts
from fleet.readiness.findings import Outcome
from inspections.checks import judge

NOON = datetime(2027, 1, 12, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
BELT = {"id": 7, "item": "belt", "label": "Belts", "note": "frayed", "blocks": True, "state": "open"}


def text(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")


def standing(performed_at: datetime = NOON - HOUR, **changes: Any) -> dict[str, Any]:
    return {
        "inspection": 1, "sheet": "pre-trip v1", "result": "fit", "performed_at": text(performed_at), "unseen": [],
        "wear": [], "defects": [], "work_at": None, "signed_at": text(performed_at + timedelta(minutes=5)),
    } | changes  # fmt: skip


def facts_with(
    value: dict[str, Any] | None, *, leaves_in: timedelta = 3 * HOUR, policy: Policy | None = None, **more: Known
) -> Facts:
    depart_at = NOON + leaves_in
    trip = TripFacts(
        id=1, reference="T-1", phase=Phase.PLANNED, loading_at=depart_at - HOUR, depart_at=depart_at,
        arrive_at=depart_at + 9 * HOUR, departed_at=None, loads=(), stops=(), ambient=(), ambient_issued_at=None,
        help_median_h=None, help_p90_h=None, set_point_changed_at=None, version=1, ambient_version=1,
    )  # fmt: skip
    known = {name.replace("__", "."): fact for name, fact in more.items()}
    if value is not None:
        known["inspections.pre_trip"] = Known(value, NOON, "inspections")
    unit = UnitFacts(
        id=1, number="HB-104", in_service=True, built_on=None, k_test_w_m2k=None, k_tested_on=None, serviced_at_h=None,
        serviced_on=None, design=Design(), values={}, facts=known, newest_at=None, version=1, model_version=1,
    )  # fmt: skip
    return Facts(fleet_id=1, trip=trip, unit=unit, policy=policy or Policy())


def test_a_fit_inspection_passes_and_says_when_it_runs_out():
    finding = judge(facts_with(standing()), None, NOON)
    assert (finding.outcome, finding.measured, finding.required, finding.margin) == (Outcome.PASS, 4.0, 24.0, 20.0)
    assert finding.changes_at == NOON - HOUR + 20 * HOUR
    assert finding.signed_at == NOON - HOUR + timedelta(minutes=5)


@pytest.mark.parametrize(
    ("value", "leaves_in", "outcome", "words"),
    [
        (None, 3 * HOUR, Outcome.UNKNOWN, "no signed pre-trip"),
        (standing(performed_at=NOON - HOUR) | {"performed_at": None}, 3 * HOUR, Outcome.UNKNOWN, "no signed pre-trip"),
        (standing(defects=[BELT]), 3 * HOUR, Outcome.BLOCK, "Belts: frayed (not repaired)"),
        (standing(defects=[BELT | {"state": "repaired"}]), 3 * HOUR, Outcome.BLOCK, "repaired, not checked again"),
        ({"performed_at": None, "defects": [BELT]}, 3 * HOUR, Outcome.BLOCK, "Belts"),
        (standing(defects=[BELT | {"blocks": False}]), 3 * HOUR, Outcome.CONCERN, "do not block: belts"),
        (standing(wear=["Coil"]), 3 * HOUR, Outcome.CONCERN, "wear on coil"),
        (standing(unseen=["Battery"]), 3 * HOUR, Outcome.UNKNOWN, "incomplete: battery not seen"),
        (standing(NOON - 25 * HOUR), 3 * HOUR, Outcome.UNKNOWN, "expired at 2027-01-12 11:00"),
        (standing(NOON - 22 * HOUR), 3 * HOUR, Outcome.UNKNOWN, "expires before departure"),
        (standing(NOON - 18 * HOUR), 3 * HOUR, Outcome.CONCERN, "soon after departure"),
        (standing(NOON - 17 * HOUR), 3 * HOUR - timedelta(seconds=1), Outcome.PASS, "fit"),
        (standing(NOON - 17 * HOUR), 3 * HOUR, Outcome.CONCERN, "soon after departure"),
        (standing(work_at=text(NOON)), 3 * HOUR, Outcome.UNKNOWN, "worked on at 2027-01-12 12:00"),
        (standing(work_at=text(NOON - 2 * HOUR)), 3 * HOUR, Outcome.PASS, "fit"),
    ],
)
def test_each_standing_has_its_answer(value, leaves_in, outcome, words):
    finding = judge(facts_with(value, leaves_in=leaves_in), None, NOON)
    assert finding.outcome is outcome
    assert words in finding.message
    assert (finding.remedy is None) == (outcome is Outcome.PASS)
    assert finding.releasable == (outcome is not Outcome.BLOCK)


def test_each_blocking_defect_is_a_cause_of_its_own():
    other = BELT | {"id": 9, "label": "Fuel"}
    finding = judge(facts_with(standing(defects=[BELT, other])), None, NOON)
    assert finding.cause_keys() == ("inspections.pre_trip:defect-7", "inspections.pre_trip:defect-9")


@pytest.mark.parametrize(
    ("fact", "minutes", "outcome"),
    [
        ("alarms__last_stop_at", 1, Outcome.UNKNOWN),
        ("alarms__last_stop_at", -1, Outcome.PASS),
        ("fleet__last_delivered", 1, Outcome.UNKNOWN),
        ("fleet__last_delivered", -1, Outcome.PASS),
    ],
)
def test_what_came_after_the_inspection_voids_it_and_what_came_before_does_not(fact, minutes, outcome):
    at = NOON - HOUR + timedelta(minutes=minutes)
    value: Any = text(at) if fact.startswith("alarms") else "T-0"
    finding = judge(facts_with(standing(), **{fact: Known(value, at, "x")}), None, NOON)
    assert finding.outcome is outcome


def test_a_unit_that_never_had_a_stop_tier_alarm_is_not_voided():
    known = Known(None, NOON, "alarms")
    assert judge(facts_with(standing(), alarms__last_stop_at=known), None, NOON).outcome is Outcome.PASS


def test_the_policy_says_how_long_an_inspection_counts():
    short = Policy({"pre_trip_valid_h": 2.0, "pre_trip_warn_h": 0.0})
    assert judge(facts_with(standing(), leaves_in=HOUR / 2, policy=short), None, NOON).outcome is Outcome.PASS
    assert judge(facts_with(standing(), leaves_in=HOUR, policy=short), None, NOON).outcome is Outcome.UNKNOWN
