"""Carries out what `hold_rules` decides, tells the listeners, and lets a manager release."""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from django.db import transaction

from fleet.bell import ASSESS_TASK, DELIVER_TASK, ring
from fleet.errors import NotFound, StaleRevision, WarmgateError
from fleet.holds import HoldChange, HoldListener, listeners
from fleet.metrics import LISTENER_FAILURES
from fleet.models import Hold, Member, Trip
from fleet.policy import Policy
from fleet.readiness.assess import Answer
from fleet.readiness.findings import Finding
from fleet.readiness.hold_rules import Decision, Episode, Step, decide
from fleet.records.audit import record_act
from fleet.retry import on_conflict
from fleet.trips.due import lock_trip, pull_near
from fleet.units.state import lock_states

logger = logging.getLogger(__name__)


class ReleaseNotAllowed(WarmgateError):
    """The hold is not open, or one of its causes is a person's to remove, not a manager's to accept."""

    code = "release-not-allowed"


@dataclass(frozen=True, slots=True)
class HoldStep:
    """What an answer does to the holds of its trip, decided and not yet written."""

    trip: Trip
    answer: Answer
    others: tuple[Hold, ...]
    """Open holds of units the trip no longer has."""
    hold: Hold | None
    decision: Decision

    @property
    def writes(self) -> bool:
        return bool(self.others) or self.decision.step not in (Step.NOTHING, Step.KEEP, Step.WAIT_CLEARING)


def apply_answer(trip: Trip, answer: Answer, *, now: datetime) -> Decision:
    """Moves the hold of a planned trip (its row locked by the caller) and tells the listeners of any change."""
    step = hold_step(trip, answer, holds_of([trip.pk]), now=now)
    carry_out(step, now=now)
    return step.decision


def holds_of(trip_ids: Collection[int]) -> list[Hold]:
    """Every hold of these trips, newest first, in one statement."""
    return list(Hold.objects.across_fleets().filter(trip_id__in=trip_ids).order_by("-id"))


def hold_step(trip: Trip, answer: Answer, holds: Sequence[Hold], *, now: datetime) -> HoldStep:
    """What the answer does to these holds of its trip. Reads and writes nothing."""
    unit_id = answer.facts.unit.id
    rows = [hold for hold in holds if hold.unit_id == unit_id]
    others = [hold for hold in holds if hold.unit_id != unit_id and hold.state == Hold.State.OPEN]
    hold, episode = _episode(rows, now)
    decision = decide(
        episode,
        verdict=answer.verdict,
        causes=answer.causes,
        findings=answer.findings,
        depart_at=trip.depart_at,
        policy=answer.facts.policy,
        now=now,
    )
    return HoldStep(trip, answer, tuple(sorted(others, key=lambda other: other.pk)), hold, decision)


def carry_out(step: HoldStep, *, now: datetime) -> None:
    """Writes the step and tells the listeners."""
    for other in step.others:
        close_hold(other, state=Hold.State.ENDED, reason="unit_changed", now=now)
    _carry_out(step.trip, step.answer.facts.unit.id, step.hold, step.decision, step.answer.causes, now)


def _episode(rows: Sequence[Hold], now: datetime) -> tuple[Hold | None, Episode]:
    opened = next((row for row in rows if row.state == Hold.State.OPEN), None)
    lifted = next((row for row in rows if row.state == Hold.State.LIFTED), None)
    episode = Episode(
        open_causes=_since(opened.causes) if opened else None,
        clear_since=opened.clear_since if opened else None,
        lifted_at=lifted.closed_at if lifted else None,
        released=released_keys(rows, now=now),
    )
    return opened or lifted, episode


def _since(causes: Sequence[dict[str, Any]]) -> dict[str, datetime]:
    return {cause["key"]: datetime.fromisoformat(cause["since"]) for cause in causes}


def released_keys(rows: Sequence[Hold], *, now: datetime) -> frozenset[str]:
    """Cause keys that a manager's live release covers."""
    return frozenset(
        cause["key"]
        for row in rows
        if row.state == Hold.State.RELEASED and row.release_until is not None and row.release_until > now
        for cause in row.causes
    )


def _carry_out(
    trip: Trip, unit_id: int, hold: Hold | None, decision: Decision, causes: Sequence[Finding], now: datetime
) -> None:
    step = decision.step
    if step is Step.OPEN:
        opened = Hold.objects.create(
            fleet_id=trip.fleet_id, trip=trip, unit_id=unit_id, causes=_documents(causes, {}, now), opened_at=now,
            changed_at=now,
        )  # fmt: skip
        return _announce(opened, HoldChange.OPENED, decision.reason, now)
    if hold is None:
        return None
    if step is Step.REOPEN:
        hold.state, hold.closed_at, hold.close_reason = Hold.State.OPEN, None, ""
        hold.reopened += 1
    if step in (Step.REOPEN, Step.CHANGE):
        hold.causes = _documents(causes, _since(hold.causes) if step is Step.CHANGE else {}, now)
        hold.clear_since = None
        hold.changed_at = now
        hold.save()
        return _announce(hold, HoldChange.CHANGED, decision.reason, now)
    if step is Step.START_CLEARING:
        hold.clear_since = now
        hold.save(update_fields=["clear_since"])
    if step is Step.LIFT:
        close_hold(hold, state=Hold.State.LIFTED, reason=decision.reason, now=now)
    return None


def _documents(causes: Sequence[Finding], since: dict[str, datetime], now: datetime) -> list[dict[str, Any]]:
    return [
        {
            "key": key,
            "check": finding.check,
            "outcome": str(finding.outcome),
            "message": finding.message,
            "remedy": finding.remedy.text if finding.remedy else "",
            "releasable": finding.releasable,
            "since": since.get(key, now).isoformat(),
        }
        for finding in causes
        for key in finding.cause_keys()
    ]


def close_hold(hold: Hold, *, state: Hold.State, reason: str, now: datetime, by: Member | None = None) -> None:
    """Ends an episode and tells the listeners."""
    hold.state, hold.close_reason, hold.closed_at, hold.changed_at = state, reason, now, now
    hold.save()
    _announce(hold, HoldChange.ENDED, reason, now, by=by)


def end_holds(trip: Trip, *, reason: str, now: datetime, by: Member | None = None) -> None:
    """Ends the open holds of a trip that is cancelled, has left, or has changed its unit."""
    for hold in Hold.objects.for_fleet(trip.fleet_id).filter(trip=trip, state=Hold.State.OPEN).order_by("id"):
        close_hold(hold, state=Hold.State.ENDED, reason=reason, now=now, by=by)


def end_holds_of_other_units(trip: Trip, unit_id: int, *, now: datetime) -> None:
    others = Hold.objects.for_fleet(trip.fleet_id).filter(trip=trip, state=Hold.State.OPEN).exclude(unit_id=unit_id)
    for hold in others.order_by("id"):
        close_hold(hold, state=Hold.State.ENDED, reason="unit_changed", now=now)


def _announce(hold: Hold, change: HoldChange, reason: str, now: datetime, *, by: Member | None = None) -> None:
    """Writes the act down and tells every listener."""
    keys = [cause["key"] for cause in hold.causes]
    said = {"release_reason": hold.release_reason} if reason == "released" else {}
    record_act(by, act=f"hold.{change}", subject=hold, at=now, content={"reason": reason, "causes": keys} | said)
    for listener in listeners:
        _tell(listener, partial(listener.told, hold, change, now))
    ring(DELIVER_TASK)


def tell_assessed(stored: Sequence[tuple[Trip, Answer]], *, now: datetime) -> None:
    """Tells listeners of answers that were stored: of all at once, and of each alone when that fails."""
    for listener in listeners:
        if listener.assessed is None or not stored:
            continue
        if len(stored) > 1 and _told_together(listener, partial(listener.assessed, stored, now)):
            continue
        for pair in stored:
            _tell(listener, partial(listener.assessed, [pair], now))


def _told_together(listener: HoldListener, call: Callable[[], None]) -> bool:
    try:
        with transaction.atomic():
            call()
    except Exception:
        logger.exception("Listener %s failed for a batch; it is told of each trip alone", listener.id)
        return False
    return True


def _tell(listener: HoldListener, call: Callable[[], None]) -> bool:
    """Calls one listener in its own savepoint: a broken one undoes its own work, never the hold. Says if it worked."""
    try:
        with transaction.atomic():
            call()
    except Exception:
        LISTENER_FAILURES.labels(listener=listener.id).inc()
        logger.exception("Listener %s failed", listener.id)
        return False
    return True


def release_hold(
    hold_id: int, *, fleet_id: int, by: Member, reason: str, expected_revision: int | None, now: datetime
) -> Hold:
    """A manager lets this trip leave in spite of the hold's causes, with a reason, until a while after departure.

    *Raises* ReleaseNotAllowed for causes that only a signature removes, StaleRevision when somebody was faster.
    """

    def work() -> Hold:
        with transaction.atomic():
            hold = _locked_hold(hold_id, fleet_id)
            if expected_revision is not None and hold.revision != expected_revision:
                raise StaleRevision(current=f'"{hold.revision}"')
            _refuse_unreleasable(hold)
            policy = Policy(hold.fleet.policy.overrides)
            hold.released_by, hold.release_reason = by, reason
            hold.release_until = max(hold.trip.depart_at, now) + timedelta(hours=policy.release_after_depart_h)
            hold.revision += 1
            close_hold(hold, state=Hold.State.RELEASED, reason="released", now=now, by=by)
            pull_near([hold.trip_id], at=now)
            ring(ASSESS_TASK)
            return hold

    return on_conflict(work)


def _locked_hold(hold_id: int, fleet_id: int) -> Hold:
    """The hold, after its unit's state, its trip and itself were locked in the order everybody keeps."""
    found = Hold.objects.for_fleet(fleet_id).filter(pk=hold_id).first()
    if found is None:
        raise NotFound("There is no such hold.")
    lock_states([found.unit_id])
    lock_trip(found.trip_id)
    return Hold.objects.for_fleet(fleet_id).select_related("trip", "unit", "fleet__policy").get(pk=hold_id)


def _refuse_unreleasable(hold: Hold) -> None:
    if hold.state != Hold.State.OPEN:
        raise ReleaseNotAllowed(f"The hold is {hold.state}; only an open one can be released.")
    if hold.trip.state != Trip.State.PLANNED:
        raise ReleaseNotAllowed(f"The trip is {hold.trip.state}.")
    fixed = [cause for cause in hold.causes if not cause["releasable"]]
    if fixed:
        raise ReleaseNotAllowed(
            "These causes cannot be released; they have to be removed: "
            + "; ".join(cause["message"] for cause in fixed),
            causes=fixed,
        )
