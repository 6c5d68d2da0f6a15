"""Our own rules as tables: what they find, what they deny, and what they refuse to say. No rows.

The numbers (10 minutes, 2 K, 5 km/h …) are choices of this project; docs/alarms.md lists them.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from msgspec import structs

from alarms.derived import heat, journey
from alarms.derived.situation import Sample, Situation
from alarms.j1939 import FAILURE_MODES, Severity
from alarms.models import Tier
from alarms.rules import BY_CODE, RULES, Ruling, judge_all, meaning_of_pair, pair_code, pair_of, tier_of, unmapped
from fleet.models import Phase
from fleet.policy import Policy
from fleet.readiness.facts import Design, Facts, Known, LoadFacts, TripFacts, UnitFacts
from fleet.readiness.findings import Finding, Outcome

NOW = datetime(2027, 1, 12, 12, 0, tzinfo=UTC)


def ago(minutes: float) -> datetime:
    return NOW - timedelta(minutes=minutes)


def known(value: Any, minutes: float = 1) -> Known:
    return Known(value, ago(minutes), "g")


LOAD = LoadFacts(
    commodity="potato", mass_kg=18000, temperature_c=8, set_point_c=7, low_c=4, high_c=15, damage_c=-0.6,
    freezes_c=-0.6, cp_kj_kgk=3.67, latent_kj_kg=264, respiration_w_kg=0.0, no_heat_needed=False,
)  # fmt: skip
TRIP = TripFacts(
    id=1, reference="T-1", phase=Phase.UNDER_WAY, loading_at=ago(300), depart_at=ago(200), arrive_at=ago(-600),
    departed_at=ago(200), loads=(LOAD,), stops=(), ambient=(), ambient_issued_at=None, help_median_h=None,
    help_p90_h=None, set_point_changed_at=None, version=1, ambient_version=1,
)  # fmt: skip
UNIT = UnitFacts(
    id=1, number="HB-104", in_service=True, built_on=None, k_test_w_m2k=None, k_tested_on=None, serviced_at_h=None,
    serviced_on=None, design=Design({"hysteresis_k": 1.0}), values={"set_point_c": known(7.0)}, facts={},
    newest_at=ago(1), version=1, model_version=1,
)  # fmt: skip
FACTS = Facts(fleet_id=1, trip=TRIP, unit=UNIT, policy=Policy())


def situation(
    *samples: Sample,
    values: dict[str, Known] | None = None,
    trip: dict[str, Any] | None = None,
    newest_at: datetime | None = None,
    **more: Any,
) -> Situation:
    facts = structs.replace(
        FACTS,
        trip=replace(TRIP, **(trip or {})),
        unit=structs.replace(
            UNIT, values=UNIT.values if values is None else values, newest_at=newest_at or UNIT.newest_at
        ),
    )
    given: dict[str, Any] = {
        "findings": {}, "held_since": None, "held_place": None, "open_codes": frozenset(), "now": NOW
    }  # fmt: skip
    return Situation(facts=facts, samples=samples, **(given | more))


def cold(minutes: float, return_c: float | None = 2.0, discharge_c: float | None = 2.5, **more: Any) -> Sample:
    """A box below 7 - 1 - 2 = 4 °C whose discharge air brings no heat."""
    return Sample(ago(minutes), return_air_c=return_c, discharge_air_c=discharge_c, **more)


HEAT_LOST = {
    "two readings ten minutes apart": ([cold(11, 3.0), cold(1, 2.0)], True),
    "one reading alone": ([cold(1)], None),
    "two readings nine minutes apart": ([cold(10), cold(1)], None),
    "the heater heats": ([cold(11), cold(1, 2.0, 20.0)], False),
    "the box is warm enough, the heater rests": ([cold(11, 6.5, 6.6), cold(1, 6.4, 6.5)], False),
    "exactly at the floor is not below it": ([cold(11, 4.0, 4.0), cold(1, 4.0, 4.0)], False),
    "air that warms by itself": ([cold(11, 1.0), cold(1, 2.0)], None),
    "doors open say nothing": ([cold(11, door_open=True), cold(1, door_open=True)], None),
    "a reading with doors open is stepped over": ([cold(12), cold(6, door_open=True), cold(1)], True),
    "a warm reading breaks the run": ([cold(25), cold(8, 7.0, 7.0), cold(1)], None),
    "no discharge air": ([cold(11, 2.0, None), cold(1, 2.0, None)], None),
    "the newest reading is too old": ([cold(50), cold(31)], None),
    "no readings": ([], None),
}


@pytest.mark.parametrize("name", HEAT_LOST)
def test_heat_lost(name: str) -> None:
    samples, expected = HEAT_LOST[name]
    assert heat.judge_heat_lost(situation(*samples)) is expected


def test_a_unit_that_was_turned_down_has_not_lost_its_heat() -> None:
    samples = [cold(11, 3.0), cold(1, 2.5)]
    assert heat.judge_heat_lost(situation(*samples, values={"set_point_c": known(2.0)})) is False
    assert heat.judge_heat_lost(situation(*samples, values={"set_point_c": known(9.0)})) is True


def test_heat_lost_needs_a_set_point_to_compare_with() -> None:
    no_set_point = {"loads": (replace(LOAD, set_point_c=None),)}
    assert heat.judge_heat_lost(situation(cold(11), cold(1), values={}, trip=no_set_point)) is None


def door(minutes: float, opened: bool | None, running: bool | None) -> Sample:
    return Sample(ago(minutes), door_open=opened, heater_running=running)


DOORS = {
    "open and heating for five minutes": ([door(6, True, True), door(1, True, True)], True),
    "only just": ([door(3, True, True), door(1, True, True)], None),
    "shut again": ([door(6, True, True), door(1, False, True)], False),
    "open with the heater off": ([door(6, True, False), door(1, True, False)], False),
    "not reported": ([door(6, None, True), door(1, None, True)], None),
}


@pytest.mark.parametrize("name", DOORS)
def test_door_open_heating(name: str) -> None:
    samples, expected = DOORS[name]
    assert heat.judge_door_heating(situation(*samples)) is expected


def cargo(minutes: float, temp_c: float | None, air_c: float | None = None, **more: Any) -> Sample:
    return Sample(ago(minutes), cargo_c=temp_c, return_air_c=air_c, **more)


RANGE = {
    "inside": ([cargo(31, 8), cargo(16, 8), cargo(1, 8)], False),
    "below for fifteen minutes": ([cargo(16, 3.9), cargo(1, 3.8)], True),
    "above for fifteen minutes": ([cargo(16, 15.2), cargo(1, 15.3)], True),
    "below for a moment": ([cargo(16, 4.1), cargo(1, 3.9)], None),
    "air a little below is the heater's swing": ([cargo(16, None, 3.2), cargo(1, None, 3.1)], False),
    "air far below": ([cargo(16, None, 2.9), cargo(1, None, 2.8)], True),
    "air with doors open says nothing": ([cargo(16, None, 1, door_open=True), cargo(1, None, 1, door_open=True)], None),
    "falling to the limit within two hours": ([cargo(61, 5.6), cargo(31, 5.2), cargo(1, 4.8)], True),
    "near the limit, steady": ([cargo(61, 4.8), cargo(31, 4.8), cargo(1, 4.8)], False),
    "near the limit, rising": ([cargo(61, 4.4), cargo(31, 4.6), cargo(1, 4.8)], False),
    "falling fast but far away": ([cargo(61, 12), cargo(31, 11), cargo(1, 10)], False),
    "falling, but two readings only": ([cargo(61, 5.6), cargo(1, 4.8)], False),
    "nothing measured": ([cargo(1, None)], None),
}


@pytest.mark.parametrize("name", RANGE)
def test_leaving_range(name: str) -> None:
    samples, expected = RANGE[name]
    assert heat.judge_leaving_range(situation(*samples)) is expected


def test_a_load_without_limits_cannot_leave_them() -> None:
    no_limits = {"loads": (replace(LOAD, low_c=None),)}
    assert heat.judge_leaving_range(situation(cargo(16, 1), cargo(1, 1), trip=no_limits)) is None


SET_POINT = {
    "never changed": (None, known(3.0), False),
    "changed just now": (ago(14), known(3.0, 20), None),
    "taken": (ago(60), known(7.2, 5), False),
    "another one since": (ago(60), known(3.0, 5), True),
    "none since, though the unit speaks": (ago(60), known(3.0, 70), True),
    "never reported, though the unit speaks": (ago(60), None, True),
}


@pytest.mark.parametrize("name", SET_POINT)
def test_set_point_not_taken(name: str) -> None:
    changed_at, reported, expected = SET_POINT[name]
    values = {} if reported is None else {"set_point_c": reported}
    found = journey.judge_set_point_not_taken(situation(values=values, trip={"set_point_changed_at": changed_at}))
    assert found is expected


def test_a_unit_that_has_not_spoken_since_the_change_is_not_accused() -> None:
    found = journey.judge_set_point_not_taken(
        situation(values={"set_point_c": known(3.0, 90)}, trip={"set_point_changed_at": ago(60)}, newest_at=ago(50))
    )
    assert found is None


@pytest.mark.parametrize(
    ("outcome", "expected"),
    [("block", True), ("concern", False), ("pass", False), ("unknown", None), ("pending", None), (None, None)],
)
def test_fuel_short_follows_the_fuel_check_and_a_missing_answer_changes_nothing(
    outcome: str | None, expected: bool | None
) -> None:
    findings = {} if outcome is None else {"thermal.fuel": Finding("thermal.fuel", Outcome(outcome), "", "")}
    assert journey.judge_fuel_short(situation(findings=findings)) is expected


HELD = {
    "no hold": ({"values": {"speed_km_h": known(60.0)}}, False),
    "held and standing": ({"values": {"speed_km_h": known(0.0)}, "held_since": ago(60)}, False),
    "held and creeping": ({"values": {"speed_km_h": known(5.0)}, "held_since": ago(60)}, False),
    "held and moving": ({"values": {"speed_km_h": known(5.1)}, "held_since": ago(60)}, True),
    "moved before the hold": ({"values": {"speed_km_h": known(60.0, 20)}, "held_since": ago(10)}, False),
    "the speed is old news": ({"values": {"speed_km_h": known(60.0, 40)}, "held_since": ago(60)}, None),
    "seen leaving, now standing": (
        {
            "values": {"speed_km_h": known(0.0)}, "held_since": ago(60),
            "open_codes": frozenset({"left-while-held"}),
        },
        True,
    ),
    "neither speed nor place": ({"values": {}, "held_since": ago(60)}, None),
    "the same place": (
        {"values": {"position": known([61.5, 23.8])}, "held_since": ago(60), "held_place": (61.5, 23.8)}, False
    ),
    "2.2 km further north": (
        {"values": {"position": known([61.52, 23.8])}, "held_since": ago(60), "held_place": (61.5, 23.8)}, True
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", HELD)
def test_left_while_held(name: str) -> None:
    given, expected = HELD[name]
    assert journey.judge_left_while_held(situation(**given)) is expected


def test_a_degree_of_latitude_is_111_2_km_on_a_sphere_of_6371_km() -> None:
    """Arc length 6371 km x pi / 180 = 111.195 km (computed)."""
    assert journey.distance_km((60.0, 25.0), (61.0, 25.0)) == pytest.approx(111.195, abs=0.001)
    assert journey.distance_km((0.0, 179.5), (0.0, -179.5)) == pytest.approx(111.195, abs=0.001)


@pytest.mark.parametrize(("minutes", "expected"), [(119, False), (120, True), (500, True)])
def test_silent_under_way_after_the_policy_s_two_hours(minutes: float, expected: bool) -> None:
    assert journey.judge_silent(situation(newest_at=ago(minutes))) is expected


def test_every_rule_has_its_own_code_words_and_a_phase() -> None:
    assert sorted(BY_CODE) == [
        "data-silent", "door-open-heating", "fuel-short", "heat-lost", "leaving-range", "left-while-held",
        "set-point-not-taken",
    ]  # fmt: skip
    assert len(BY_CODE) == len(RULES)
    assert {rule.code for rule in RULES if rule.tier == Tier.STOP} == {"heat-lost"}
    assert all(rule.words.what_to_do and rule.phases for rule in RULES)


def test_only_changes_are_ruled_and_a_rule_outside_its_phase_clears() -> None:
    said = judge_all(situation(cold(11), cold(1)))
    assert Ruling("heat-lost", True) in said
    assert judge_all(situation(cold(11), cold(1), open_codes=frozenset({"heat-lost", "leaving-range"}))) == []
    planned = {"phase": Phase.PLANNED}
    assert judge_all(situation(trip=planned, open_codes=frozenset({"heat-lost"}))) == [Ruling("heat-lost", False)]


def test_a_load_that_needs_no_heat_raises_nothing_about_heat() -> None:
    dry = {"loads": ()}
    assert judge_all(situation(cold(11), cold(1), trip=dry)) == []


def test_what_cannot_be_told_keeps_what_was_said() -> None:
    assert judge_all(situation(open_codes=frozenset({"heat-lost", "fuel-short"}))) == []


def test_the_tier_of_a_failure_mode_follows_its_severity_and_what_grades_nothing_is_attend() -> None:
    """Severity as J1939-73 appendix A words it (copy at autoprogs.ru, read); the tiers are our own rule."""
    tiers = {fmi: tier_of(mode) for fmi, mode in FAILURE_MODES.items()}
    assert [fmi for fmi, tier in tiers.items() if tier == Tier.STOP] == [0, 1]
    assert [fmi for fmi, tier in tiers.items() if tier == Tier.WATCH] == [15, 17]
    assert len(tiers) == 32
    assert all(tier_of(mode) == Tier.ATTEND for mode in FAILURE_MODES.values() if mode.severity is Severity.UNRANKED)


def test_a_pair_is_written_as_a_code_and_read_back() -> None:
    assert pair_of(pair_code(524287, 31)) == (524287, 31)
    assert "sensor" in meaning_of_pair(110, 4).what_to_do
    assert "reserves" in meaning_of_pair(110, 25).what_to_do
    assert unmapped("x-1").tier == Tier.ATTEND
