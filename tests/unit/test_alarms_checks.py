"""The two checks on alarms as tables of unit facts. No rows."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from msgspec import structs

from alarms.checks import STOP_TIER, WATCH_TIER, judge_stop_tier, judge_watch_tier
from fleet.models import Phase
from fleet.readiness.facts import Facts, Known
from fleet.readiness.findings import Finding
from fleet.readiness.registry import checks
from tests.unit.test_alarms_rules import FACTS, NOW, ago, known

SIGNED = ago(5)


def alarm(id_: int, tier: str, meaning: str = "Fan stuck") -> dict[str, Any]:
    return {
        "id": id_, "tier": tier, "scheme": "book", "code": f"c-{id_}", "component": "fan", "meaning": meaning,
        "what_to_do": "Free the fan.", "raised_at": "2027-01-12T05:41:00Z", "returned_at": None, "state": "active",
        "unmapped": False, "derived": False,
    }  # fmt: skip


def facts(
    *alarms: dict[str, Any],
    count: int | None = None,
    held: int = 0,
    newest: float | None = 1,
    unit_on: bool = True,
    signed: bool = False,
    phase: Phase = Phase.PLANNED,
) -> Facts:
    given: dict[str, Known] = {
        "alarms.open": known(list(alarms)),
        "alarms.open_count": known(len(alarms) if count is None else count),
        "alarms.last_signed_at": known(SIGNED.isoformat() if signed else None),
        "fleet.quarantined_faults": known(held),
    }
    unit = structs.replace(
        FACTS.unit,
        facts=given,
        values={"unit_on": known(unit_on)},
        newest_at=None if newest is None else ago(newest),
    )
    return structs.replace(FACTS, unit=unit, trip=replace(FACTS.trip, phase=phase))


def stop(given: Facts) -> Finding:
    return judge_stop_tier(given, None, NOW)


def test_an_open_stop_alarm_blocks_is_named_and_cannot_be_released() -> None:
    found = stop(facts(alarm(7, "stop"), alarm(6, "stop"), alarm(5, "attend")))
    assert found.outcome == "block"
    assert found.subjects == ("7", "6")
    assert found.cause_keys() == ("alarms.stop_tier:7", "alarms.stop_tier:6")
    assert not found.releasable
    assert "c-7, since 2027-01-12 05:41 UTC" in found.message
    assert "c-5" not in found.message
    assert found.remedy is not None
    assert "signs off" in found.remedy.text


def test_a_stop_alarm_blocks_even_when_nothing_else_is_known() -> None:
    assert stop(facts(alarm(7, "stop"), held=2, newest=None)).outcome == "block"


UNKNOWN = {
    "a fault in quarantine": facts(held=1),
    "a fault in quarantine beside an attend alarm": facts(alarm(1, "attend"), held=1),
    "never a reading": facts(newest=None),
    "on, and 4 h old": facts(newest=240),
    "off, and 36 h old": facts(newest=36 * 60, unit_on=False),
}


@pytest.mark.parametrize("name", UNKNOWN)
def test_what_cannot_be_known_is_never_a_pass(name: str) -> None:
    found = stop(UNKNOWN[name])
    assert found.outcome == "unknown"
    assert found.remedy is not None


PASSES = {
    "no alarm": facts(),
    "a watch alarm": facts(alarm(1, "watch")),
    "on, and just under 4 h old": facts(newest=239),
    "off, and just under 36 h old": facts(newest=36 * 60 - 1, unit_on=False),
}


@pytest.mark.parametrize("name", PASSES)
def test_without_an_alarm_that_matters_it_passes(name: str) -> None:
    assert stop(PASSES[name]).outcome == "pass"


def test_a_unit_that_never_had_an_alarm_passes_on_fresh_data() -> None:
    bare = structs.replace(FACTS, unit=structs.replace(FACTS.unit, facts={}, values={}))
    assert stop(bare).outcome == "pass"


def test_an_attend_alarm_is_a_concern_with_what_to_do() -> None:
    found = stop(facts(alarm(3, "attend")))
    assert (found.outcome, found.subjects) == ("concern", ("3",))
    assert found.remedy is not None
    assert "Free the fan." in found.remedy.text


def test_a_signature_is_carried_by_whatever_no_longer_blocks() -> None:
    """So that a hold lifts at once, also when an attend-tier alarm stays."""
    assert stop(facts(signed=True)).signed_at == SIGNED
    assert stop(facts(alarm(3, "attend"), signed=True)).signed_at == SIGNED
    assert stop(facts()).signed_at is None


def test_it_says_when_silence_changes_the_answer() -> None:
    assert stop(facts(newest=10)).changes_at == ago(10) + timedelta(hours=4)
    assert stop(facts(newest=10, unit_on=False)).changes_at == ago(10) + timedelta(hours=36)
    under_way = stop(facts(newest=10, phase=Phase.UNDER_WAY))
    assert under_way.changes_at == ago(10) + timedelta(hours=2), "the rule on silence speaks after two hours"
    assert stop(facts(newest=130, phase=Phase.UNDER_WAY)).changes_at == ago(130) + timedelta(hours=4)


def test_watch_alarms_are_each_listed_and_hold_nothing_up() -> None:
    found = judge_watch_tier(facts(alarm(1, "watch"), alarm(2, "watch"), alarm(3, "stop")), None, NOW)
    assert (found.outcome, found.subjects) == ("concern", ("1", "2"))
    assert judge_watch_tier(facts(alarm(3, "stop")), None, NOW).outcome == "pass"
    assert not WATCH_TIER.required


def test_what_is_not_listed_is_counted_and_is_never_graver_than_what_is() -> None:
    many = facts(*(alarm(id_, "watch") for id_ in range(50)), count=60)
    assert judge_watch_tier(many, None, NOW).message.endswith("; 10 more that stand in the unit's list of alarms.")
    grave = facts(*(alarm(id_, "attend") for id_ in range(50)), count=60)
    assert judge_watch_tier(grave, None, NOW).outcome == "concern"
    assert stop(grave).message.endswith("and 45 more.")
    assert stop(facts(*(alarm(id_, "stop") for id_ in range(7)))).message.count("Fan stuck") == 5


def test_both_checks_are_registered_and_due_at_loading() -> None:
    assert checks.get("alarms.stop_tier") is STOP_TIER
    assert checks.get("alarms.watch_tier") is WATCH_TIER
    assert STOP_TIER.required
    assert STOP_TIER.due(FACTS) == WATCH_TIER.due(FACTS) == FACTS.trip.loading_at
