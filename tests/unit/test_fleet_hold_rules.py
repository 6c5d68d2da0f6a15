"""What an assessment does to a trip's hold, as a table of named reasons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from fleet.models.readiness import Verdict
from fleet.policy import Policy
from fleet.readiness.findings import Finding, Outcome
from fleet.readiness.hold_rules import Decision, Episode, Step, decide
from tests.unit.facts import MIN, NOW, H, S

NO_HOLD = Episode(open_causes=None, clear_since=None, lifted_at=None, released=())
SINCE = NOW - H
OPEN = replace(NO_HOLD, open_causes={"fleet.set_point": SINCE})
SET_POINT = Finding("fleet.set_point", Outcome.BLOCK, "", "")
TELEMETRY = Finding("fleet.telemetry", Outcome.UNKNOWN, "", "")
STOP = Finding("alarms.stop_tier", Outcome.BLOCK, "", "", subjects=("12",))
DEFECT = Finding("inspections.pre_trip", Outcome.BLOCK, "", "")
UNSEEN = Finding("inspections.pre_trip", Outcome.UNKNOWN, "", "")


def decided(
    episode: Episode,
    *causes: Finding,
    verdict: Verdict | None = None,
    findings: tuple[Finding, ...] = (),
    depart_at: datetime = NOW + 6 * H,
    policy: Mapping[str, float] | None = None,
) -> Decision:
    said = verdict or (Verdict.BLOCKED if causes else Verdict.READY)
    return decide(
        episode, verdict=said, causes=causes, findings=findings or causes, depart_at=depart_at,
        policy=Policy(policy), now=NOW,
    )  # fmt: skip


FAR = {"depart_at": NOW + 48 * H}
TABLE: dict[str, tuple[Episode, tuple[Finding, ...], dict[str, Any], Step, str]] = {
    "nothing wrong, no hold": (NO_HOLD, (), {}, Step.NOTHING, "not_blocked"),
    "conditional, no hold": (NO_HOLD, (), {"verdict": Verdict.CONDITIONAL}, Step.NOTHING, "not_blocked"),
    "blocked within the look-ahead": (NO_HOLD, (SET_POINT,), {}, Step.OPEN, "within_look_ahead"),
    "unknown within the look-ahead": (
        NO_HOLD, (TELEMETRY,), {"verdict": Verdict.UNKNOWN}, Step.OPEN, "within_look_ahead",
    ),
    "exactly at the look-ahead": (
        NO_HOLD, (SET_POINT,), {"depart_at": NOW + 24 * H}, Step.OPEN, "within_look_ahead",
    ),
    "a second before the look-ahead": (
        NO_HOLD, (SET_POINT,), {"depart_at": NOW + 24 * H + S}, Step.NOTHING, "too_early",
    ),
    "overdue": (NO_HOLD, (SET_POINT,), {"depart_at": NOW - H}, Step.OPEN, "within_look_ahead"),
    "a stop-tier alarm however far away": (NO_HOLD, (STOP,), FAR, Step.OPEN, "at_once"),
    "an unrepaired defect however far away": (NO_HOLD, (DEFECT,), FAR, Step.OPEN, "at_once"),
    "an unknown inspection can wait": (
        NO_HOLD, (UNSEEN,), {**FAR, "verdict": Verdict.UNKNOWN}, Step.NOTHING, "too_early",
    ),
    "covered by a live release": (
        replace(NO_HOLD, released={"fleet.set_point"}), (SET_POINT,), {}, Step.NOTHING, "covered_by_release",
    ),
    "only partly covered": (
        replace(NO_HOLD, released={"fleet.set_point"}), (SET_POINT, STOP), {}, Step.OPEN, "at_once",
    ),
    "a release of one alarm does not cover another": (
        replace(NO_HOLD, released={"alarms.stop_tier:11"}), (STOP,), {}, Step.OPEN, "at_once",
    ),
    "blocked again just under two hours after lifting": (
        replace(NO_HOLD, lifted_at=NOW - 2 * H + S), (SET_POINT,), {}, Step.REOPEN, "blocked_again_soon",
    ),
    "blocked again two hours after lifting": (
        replace(NO_HOLD, lifted_at=NOW - 2 * H), (SET_POINT,), {}, Step.OPEN, "within_look_ahead",
    ),
    "still blocked by the same": (OPEN, (SET_POINT,), {}, Step.KEEP, "same_causes"),
    "still blocked although far away": (OPEN, (SET_POINT,), FAR, Step.KEEP, "same_causes"),
    "blocked by more": (OPEN, (SET_POINT, STOP), {}, Step.CHANGE, "causes_changed"),
    "blocked by something else": (OPEN, (TELEMETRY,), {}, Step.CHANGE, "causes_changed"),
    "the same block after it had begun to clear": (
        replace(OPEN, clear_since=NOW - 5 * MIN), (SET_POINT,), {}, Step.CHANGE, "blocked_again",
    ),
    "first unblocked answer": (OPEN, (), {}, Step.START_CLEARING, "first_unblocked"),
    "unblocked again too soon": (
        replace(OPEN, clear_since=NOW - 10 * MIN + S), (), {}, Step.WAIT_CLEARING, "too_soon",
    ),
    "unblocked twice, ten minutes apart": (
        replace(OPEN, clear_since=NOW - 10 * MIN), (), {}, Step.LIFT, "unblocked_twice",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("episode", "causes", "more", "step", "reason"), TABLE.values(), ids=TABLE)
def test_each_situation_has_its_step_and_its_reason(
    episode: Episode, causes: tuple[Finding, ...], more: dict[str, Any], step: Step, reason: str
) -> None:
    decision = decided(episode, *causes, **more)
    assert (decision.step, decision.reason) == (step, reason)


@pytest.mark.parametrize(
    ("episode", "more", "again_at"),
    [
        (NO_HOLD, {"depart_at": NOW + 30 * H}, NOW + 6 * H),
        (NO_HOLD, {"depart_at": NOW + 30 * H, "policy": {"look_ahead_h": 10.0}}, NOW + 20 * H),
    ],
)
def test_too_early_says_when_to_look_again(episode: Episode, more: dict[str, Any], again_at: datetime) -> None:
    assert decided(episode, SET_POINT, **more).again_at == again_at


@pytest.mark.parametrize(("clear_since", "again_at"), [(None, NOW + 10 * MIN), (NOW - 4 * MIN, NOW + 6 * MIN)])
def test_a_hold_that_clears_says_when_to_look_again(clear_since: datetime | None, again_at: datetime) -> None:
    assert decided(replace(OPEN, clear_since=clear_since)).again_at == again_at


def signed(check: str, at: datetime | None) -> Finding:
    return Finding(check, Outcome.PASS, "", "", signed_at=at)


@pytest.mark.parametrize(
    ("signed_at", "step"),
    [
        (SINCE + MIN, Step.LIFT),
        (SINCE, Step.LIFT),
        (SINCE - S, Step.START_CLEARING),
        (None, Step.START_CLEARING),
    ],
)
def test_a_signature_after_the_cause_arose_lifts_at_once(signed_at: datetime | None, step: Step) -> None:
    episode = replace(NO_HOLD, open_causes={"alarms.stop_tier:12": SINCE})
    decision = decided(episode, findings=(signed("alarms.stop_tier", signed_at),))
    assert decision.step is step
    assert (decision.reason == "signed_off") == (step is Step.LIFT)


def test_every_cause_must_be_signed_off_to_lift_at_once() -> None:
    episode = replace(NO_HOLD, open_causes={"alarms.stop_tier:12": SINCE, "fleet.set_point": SINCE})
    decision = decided(episode, findings=(signed("alarms.stop_tier", NOW), signed("fleet.set_point", None)))
    assert decision.step is Step.START_CLEARING


@pytest.mark.parametrize(
    ("policy", "episode", "step"),
    [
        ({"hold_lift_min": 30.0}, replace(OPEN, clear_since=NOW - 10 * MIN), Step.WAIT_CLEARING),
        ({"hold_lift_min": 1.0}, replace(OPEN, clear_since=NOW - timedelta(minutes=1)), Step.LIFT),
    ],
)
def test_the_policy_says_how_long_clearing_takes(policy: dict[str, float], episode: Episode, step: Step) -> None:
    assert decided(episode, policy=policy).step is step


def test_the_policy_may_forbid_reopening() -> None:
    lifted = replace(NO_HOLD, lifted_at=NOW)
    assert decided(lifted, SET_POINT, policy={"hold_reopen_h": 0.0}).step is Step.OPEN
