"""What readiness asks about alarms. The answers stand in unit facts, so that no check needs a query of its own."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from alarms.models import Tier
from alarms.services.publish import LAST_SIGNED, OPEN, OPEN_COUNT
from fleet.checks.telemetry import age_limits
from fleet.durations import HOUR, hours
from fleet.ingest.quarantine import FACT as QUARANTINED
from fleet.models import Phase
from fleet.readiness.facts import Facts, instant
from fleet.readiness.findings import Finding, Outcome, Remedy
from fleet.readiness.registry import Check, Words, at_loading, checks

STOP_ID = "alarms.stop_tier"
WATCH_ID = "alarms.watch_tier"
MOST_NAMED = 5
SOURCE = "alarm records; tiers by the unit model's code book, J1939 failure modes or our own rules"


def judge_stop_tier(facts: Facts, gathered: None, now: datetime) -> Finding:
    """Whether a fault keeps the unit here, or lets it leave only as stated."""
    signed_at = _signed_at(facts)
    stops, attends = open_alarms(facts, Tier.STOP), open_alarms(facts, Tier.ATTEND)
    if stops:
        return Finding(
            STOP_ID,
            Outcome.BLOCK,
            f"Stop-tier alarm not signed off: {said(stops, most=MOST_NAMED)}.",
            SOURCE,
            measured=float(len(stops)),
            required=0.0,
            remedy=_work(stops),
            subjects=_subjects(stops),
            releasable=False,
        )
    limit = age_limits(facts.unit, facts.policy)[1]
    if (gap := _gap(facts, limit, now)) is not None:
        message, action, text = gap
        return Finding(
            STOP_ID, Outcome.UNKNOWN, message, SOURCE, remedy=Remedy(action, text), signed_at=signed_at
        )  # fmt: skip
    changes_at = _silent_at(facts, limit, now)
    if attends:
        return Finding(
            STOP_ID,
            Outcome.CONCERN,
            f"May leave only as stated: {said(attends, most=MOST_NAMED)}.",
            SOURCE,
            measured=float(len(attends)),
            required=0.0,
            remedy=_work(attends),
            subjects=_subjects(attends),
            signed_at=signed_at,
            changes_at=changes_at,
        )
    message = "No stop-tier or attend-tier alarm is open."
    return Finding(STOP_ID, Outcome.PASS, message, SOURCE, signed_at=signed_at, changes_at=changes_at)


def judge_watch_tier(facts: Facts, gathered: None, now: datetime) -> Finding:
    """Which faults are to be looked at, though they do not keep the unit here."""
    alarms = open_alarms(facts, Tier.WATCH)
    if not alarms and not unlisted(facts):
        return Finding(WATCH_ID, Outcome.PASS, "No watch-tier alarm is open.", SOURCE)
    return Finding(
        WATCH_ID,
        Outcome.CONCERN,
        f"To watch, and to look at on the pre-trip inspection: {_all_of(alarms, unlisted(facts))}.",
        SOURCE,
        measured=float(len(alarms)),
        required=0.0,
        remedy=_work(alarms) if alarms else None,
        subjects=_subjects(alarms),
    )


def open_alarms(facts: Facts, tier: Tier) -> list[dict[str, Any]]:
    """The unit's open alarms of one tier, newest first."""
    known = facts.unit.facts.get(OPEN)
    return [] if known is None else [alarm for alarm in known.value if alarm["tier"] == tier]


def said(alarms: Sequence[dict[str, Any]], *, most: int | None = None) -> str:
    """Alarms in one sentence, each with its code and since when; *most* of them are named, the rest are counted.

    A hold keeps this sentence once for each of its causes, so what is said of a stop must stay short.
    """
    named = [
        f"{alarm['meaning']} ({alarm['code']}, since {instant(alarm['raised_at']):%Y-%m-%d %H:%M} UTC)"
        for alarm in alarms[:most]
    ]
    rest = len(alarms) - len(named)
    return "; ".join([*named, *([f"and {rest} more"] if rest else [])])


def unlisted(facts: Facts) -> int:
    """How many open alarms do not stand in the list: of the lowest tier that is listed, or of lower ones."""
    listed, counted = facts.unit.facts.get(OPEN), facts.unit.facts.get(OPEN_COUNT)
    return 0 if listed is None or counted is None else int(counted.value) - len(listed.value)


def _all_of(alarms: Sequence[dict[str, Any]], more: int) -> str:
    counted = f"{more} more that stand in the unit's list of alarms"
    return "; ".join([*([said(alarms)] if alarms else []), *([counted] if more else [])])


def _subjects(alarms: Sequence[dict[str, Any]]) -> tuple[str, ...]:
    return tuple(str(alarm["id"]) for alarm in alarms)


def _work(alarms: Sequence[dict[str, Any]]) -> Remedy:
    text = " ".join(dict.fromkeys(str(alarm["what_to_do"]) for alarm in alarms))
    if alarms[0]["tier"] == Tier.STOP:
        text += " When the unit no longer reports it, an inspector or a manager signs off what was done."
    return Remedy("repair" if alarms[0]["tier"] == Tier.STOP else "look_at_unit", text)


def _signed_at(facts: Facts) -> datetime | None:
    known = facts.unit.facts.get(LAST_SIGNED)
    return None if known is None or known.value is None else instant(known.value)


def _gap(facts: Facts, limit: timedelta, now: datetime) -> tuple[str, str, str] | None:
    """Why a fault may be there that we do not know of: message, and what would help. From the age *limit* on readings
    say nothing of now."""
    held = facts.unit.facts.get(QUARANTINED)
    if held is not None and held.value:
        return (
            f"{held.value:g} fault event(s) of {facts.unit.number} could not be read and wait in quarantine.",
            "mend_quarantine",
            "Look at the events in quarantine: replay or discard each.",
        )
    newest_at = facts.unit.newest_at
    if newest_at is None:
        return f"{facts.unit.number} has never sent a reading.", "restore_readings", "Connect the unit."
    age = now - newest_at
    if age >= limit:
        silent_h = age / HOUR
        return (
            f"Last heard of {facts.unit.number} {silent_h:.1f} h ago: faults since then are not known.",
            "restore_readings",
            "Check the unit's power and its gateway; look for faults at the unit.",
        )
    return None


def _silent_at(facts: Facts, limit: timedelta, now: datetime) -> datetime | None:
    """When silence alone changes something: the data grow too old, or (under way) our rule on silence speaks."""
    newest_at = facts.unit.newest_at
    if newest_at is None:
        return None
    moments = [newest_at + limit]
    if facts.trip.phase is Phase.UNDER_WAY:
        moments.append(newest_at + hours(facts.policy.under_way_silent_h))
    return min([moment for moment in moments if moment > now], default=None)


STOP_TIER = Check(
    id=STOP_ID,
    words=Words(
        asks="Does a fault keep the unit from leaving?",
        blocks="a stop-tier alarm is not closed: a person has to sign off what was done",
        concern="an attend-tier alarm is open: the unit may leave only as stated",
        unknown="a fault event of this unit sits in quarantine, or the unit's newest reading is older than "
        "`telemetry_hard_on_h` / `telemetry_hard_off_h`",
    ),
    judge=judge_stop_tier,
    due=at_loading,
)
WATCH_TIER = Check(
    id=WATCH_ID,
    words=Words(
        asks="Which faults are to be watched on this trip?",
        concern="a watch-tier alarm is open; each is listed, also on the pre-trip sheet",
    ),
    judge=judge_watch_tier,
    due=at_loading,
    required=False,
)


def register() -> None:
    """Puts the checks into fleet's registry."""
    checks.add(STOP_TIER)
    checks.add(WATCH_TIER)
