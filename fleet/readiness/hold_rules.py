"""What an answer does to a trip's hold: a pure decision with a named reason."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from fleet.models.readiness import Verdict
from fleet.policy import Policy
from fleet.readiness.findings import Finding

AT_ONCE = frozenset({"alarms.stop_tier", "inspections.pre_trip"})
"""Checks whose block opens a hold however far away the departure is: a person has to act on the unit itself."""
STOPPING = (Verdict.BLOCKED, Verdict.UNKNOWN)


class Step(StrEnum):
    NOTHING = "nothing"
    OPEN = "open"
    REOPEN = "reopen"
    KEEP = "keep"
    CHANGE = "change"
    START_CLEARING = "start_clearing"
    WAIT_CLEARING = "wait_clearing"
    LIFT = "lift"


@dataclass(frozen=True, slots=True)
class Episode:
    """What is stored about holds of this trip and unit: the open one, and the newest lifted one."""

    open_causes: Mapping[str, datetime] | None
    """Cause keys of the open hold and since when; None without an open hold."""
    clear_since: datetime | None
    lifted_at: datetime | None
    released: Collection[str]
    """Cause keys covered by a live release."""


@dataclass(frozen=True, slots=True)
class Decision:
    """The step and why."""

    step: Step
    reason: str
    again_at: datetime | None = None


def decide(
    episode: Episode,
    *,
    verdict: Verdict,
    causes: Collection[Finding],
    findings: Collection[Finding],
    depart_at: datetime,
    policy: Policy,
    now: datetime,
) -> Decision:
    """What happens to the hold of a planned trip after an assessment."""
    if verdict in STOPPING:
        return _while_stopped(episode, verdict, causes, depart_at, policy, now)
    if episode.open_causes is None:
        return Decision(Step.NOTHING, "not_blocked")
    return _while_clear(episode, findings, policy, now)


def _while_stopped(
    episode: Episode,
    verdict: Verdict,
    causes: Collection[Finding],
    depart_at: datetime,
    policy: Policy,
    now: datetime,
) -> Decision:
    keys = {key for finding in causes for key in finding.cause_keys()}
    if episode.open_causes is not None:
        if keys == set(episode.open_causes) and episode.clear_since is None:
            return Decision(Step.KEEP, "same_causes")
        return Decision(Step.CHANGE, "causes_changed" if keys != set(episode.open_causes) else "blocked_again")
    if keys and keys <= set(episode.released):
        return Decision(Step.NOTHING, "covered_by_release")
    at_once = verdict is Verdict.BLOCKED and any(finding.check in AT_ONCE for finding in causes)
    opens_at = depart_at - timedelta(hours=policy.look_ahead_h)
    if not at_once and now < opens_at:
        return Decision(Step.NOTHING, "too_early", again_at=opens_at)
    reopen_for = timedelta(hours=policy.hold_reopen_h)
    if episode.lifted_at is not None and now - episode.lifted_at < reopen_for:
        return Decision(Step.REOPEN, "blocked_again_soon")
    return Decision(Step.OPEN, "at_once" if at_once else "within_look_ahead")


def _while_clear(episode: Episode, findings: Collection[Finding], policy: Policy, now: datetime) -> Decision:
    assert episode.open_causes is not None
    by_check = {finding.check: finding for finding in findings}
    if all(_signed_off(by_check.get(key.split(":", 1)[0]), since) for key, since in episode.open_causes.items()):
        return Decision(Step.LIFT, "signed_off")
    wait = timedelta(minutes=policy.hold_lift_min)
    if episode.clear_since is None:
        return Decision(Step.START_CLEARING, "first_unblocked", again_at=now + wait)
    if now - episode.clear_since >= wait:
        return Decision(Step.LIFT, "unblocked_twice")
    return Decision(Step.WAIT_CLEARING, "too_soon", again_at=episode.clear_since + wait)


def _signed_off(finding: Finding | None, since: datetime) -> bool:
    """Whether a person's signature, given after the cause arose, is what took it away."""
    return finding is not None and finding.signed_at is not None and finding.signed_at >= since
