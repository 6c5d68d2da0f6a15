"""What a message says, as a plain document that is stored with it: who reads it years later sees what was said.

Times in a document are RFC 3339 in UTC; those that end in `_local` are words in the fleet's zone for people.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from django.conf import settings

from alarms.models import Alarm, Notice, NoticeSubject, Tier
from alarms.notices.subjects import is_heat_lost
from fleet.clock import text_of
from fleet.models import Hold, Unit
from fleet.readiness.document import CAUTION

Document = dict[str, Any]


def local_words(at: datetime, zone: ZoneInfo) -> str:
    """A moment as people of the fleet say it: Tue 12 Jan 20:00 EET."""
    return at.astimezone(zone).strftime("%a %d %b %H:%M %Z")


def notice_document(
    notice: Notice, unit: Unit, subjects: Iterable[NoticeSubject], *, reason: str, urgency: str, zone: ZoneInfo
) -> Document:
    """Everything one message says about a unit: its holds (nearest departure first) and its alarms."""
    rows = list(subjects)
    holds = [hold_document(s.hold, zone=zone, subject_id=s.pk) for s in rows if s.hold is not None]
    return {
        "notice": notice.pk,
        "unit": unit.number,
        "reason": reason,
        "urgency": urgency,
        "holds": sorted(holds, key=lambda hold: (hold["departs_at"], hold["id"])),
        "alarms": [alarm_document(s, zone) for s in rows if s.alarm is not None],
        "caution": CAUTION,
    }


def hold_document(hold: Hold, *, zone: ZoneInfo, subject_id: int | None = None) -> Document:
    """One hold: what it is about, its causes with their remedies, and how it ended if it did."""
    trip = hold.trip
    blocked = any(cause["outcome"] == "block" for cause in hold.causes)
    return {
        "subject": subject_id,
        "id": hold.pk,
        "trip": trip.reference,
        "state": str(hold.state),
        "verdict": "blocked" if blocked else "unknown",
        "opened_at": text_of(hold.opened_at),
        "departs_at": text_of(trip.depart_at),
        "departs_local": local_words(trip.depart_at, zone),
        "causes": [
            {name: cause.get(name, "") for name in ("key", "check", "outcome", "message", "remedy", "since")}
            for cause in hold.causes
        ],
        "reopened": hold.reopened,
        "close_reason": hold.close_reason,
        "released_by": str(hold.released_by) if hold.released_by else "",
        "release_reason": hold.release_reason,
        "link": trip_link(trip.reference),
    }


def trip_link(reference: str) -> str:
    """The trip's page; whoever follows it has to sign in."""
    return f"{settings.PUBLIC_URL.rstrip('/')}/trips/{quote(reference, safe='')}/"


def unit_link(number: str) -> str:
    return f"{settings.PUBLIC_URL.rstrip('/')}/units/{quote(number, safe='')}/"


def alarm_document(subject: NoticeSubject, zone: ZoneInfo) -> Document:
    alarm = subject.alarm
    assert alarm is not None
    trip = subject.trip
    return {
        "subject": subject.pk,
        "id": alarm.pk,
        "code": alarm.code,
        "scheme": str(alarm.scheme),
        "tier": str(alarm.tier),
        "kind": alarm_kind(alarm),
        "state": str(alarm.state),
        "component": alarm.component,
        "meaning": alarm.meaning,
        "what_to_do": alarm.what_to_do,
        "raised_at": text_of(alarm.raised_at),
        "raised_local": local_words(alarm.raised_at, zone),
        "repeat": alarm.repeat,
        "trip": trip.reference if trip else None,
        "time_to_damage": _time_to_damage(alarm, zone),
        "damage_after_h": alarm.damage_after_h,
        "signed_by": str(alarm.signed_by) if alarm.signed_by else "",
        "work_done": alarm.work_done,
        "link": trip_link(trip.reference) if trip else unit_link(alarm.unit.number),
    }


def alarm_kind(alarm: Alarm) -> str:
    """The middle part of its webhook's type."""
    return "stop" if alarm.tier == Tier.STOP else "heat_lost" if is_heat_lost(alarm) else "attend"


def _time_to_damage(alarm: Alarm, zone: ZoneInfo) -> str:
    """How long there is time, in words; empty when it is not known."""
    if alarm.damage_after_h is None or alarm.damage_at is None or alarm.damage_limit_c is None:
        return ""
    limit = f"{alarm.damage_limit_c:.1f}".replace("-", "−")
    at = alarm.damage_at.astimezone(zone).strftime("%H:%M")
    return f"edge of the load reaches {limit} °C at about {at} ({alarm.damage_after_h:.1f} h)"
