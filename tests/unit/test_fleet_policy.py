"""The table of thresholds: defaults that obey their own limits, and faults that name the threshold."""

from __future__ import annotations

import math
import pickle
from pathlib import Path

import pytest

from fleet.policy import BY_NAME, ORDERED_PAIRS, THRESHOLDS, Policy, Threshold, faults_in

ROOT = Path(__file__).parents[2]
USED = "\n".join(
    path.read_text() for app in ("fleet", "inspections", "alarms", "thermal") for path in (ROOT / app).rglob("*.py")
)


@pytest.mark.parametrize("row", THRESHOLDS, ids=lambda row: row.name)
def test_every_threshold_obeys_itself_and_is_used(row: Threshold) -> None:
    assert row.low <= row.default <= row.high
    assert row.words.endswith(".")
    assert row.source
    used_as = (f".{row.name}", f'"{row.name}"')
    elsewhere = USED.replace(f'("{row.name}"', "")
    assert any(text in elsewhere for text in used_as), "a threshold that nothing reads"


def test_names_are_unique_and_defaults_are_faultless() -> None:
    assert len(BY_NAME) == len(THRESHOLDS)
    assert faults_in({row.name: row.default for row in THRESHOLDS}) == {}
    assert faults_in({}) == {}


@pytest.mark.parametrize("row", THRESHOLDS, ids=lambda row: row.name)
def test_limits_are_inclusive_and_beyond_them_is_a_fault(row: Threshold) -> None:
    assert "Must be from" not in faults_in({row.name: row.low}).get(row.name, "")
    assert "Must be from" not in faults_in({row.name: row.high}).get(row.name, "")
    for beyond in (math.nextafter(row.low, -math.inf), math.nextafter(row.high, math.inf), math.nan, math.inf):
        assert "Must be from" in faults_in({row.name: beyond})[row.name]


@pytest.mark.parametrize(("lower", "upper"), ORDERED_PAIRS)
def test_pairs_must_stay_in_order(lower: str, upper: str) -> None:
    value = BY_NAME[upper].default
    assert faults_in({lower: value, upper: value}) == {}
    above = min(value * 1.01 + 0.01, BY_NAME[lower].high)
    assert above > value
    assert list(faults_in({lower: above})) == [lower]


def test_lowering_the_upper_one_of_a_pair_is_a_fault_too() -> None:
    assert faults_in({"score_ready": 80.0}) == {"score_floor": "Must not be above score_ready (80)."}


def test_an_unknown_name_is_a_fault() -> None:
    assert faults_in({"no_such": 1.0}) == {"no_such": "There is no threshold of this name."}


def test_a_policy_reads_overrides_over_defaults_and_nothing_else() -> None:
    policy = Policy({"score_floor": 80.0}, version=7)
    assert (policy.score_floor, policy.score_ready, policy.version) == (80.0, 98.0, 7)
    with pytest.raises(AttributeError):
        getattr(policy, "no_such")  # noqa: B009 - the attribute itself is what is asked
    again = pickle.loads(pickle.dumps(policy))
    assert (again.as_dict(), again.version) == (policy.as_dict(), 7)
