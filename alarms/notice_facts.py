"""What the policy knows of a notice and of the holds and alarms it is about: frozen values, no rows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from alarms.ladder import Urgency

NOW_WITHIN = timedelta(hours=2)
SOON_WITHIN = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class SubjectFacts:
    """One hold or alarm that the notice is about."""

    id: int
    kind: str
    opened_at: datetime
    trip_id: int | None = None
    depart_at: datetime | None = None
    """Planned departure of the held trip; None for an alarm."""
    under_way: bool = False
    stop: bool = False
    heat_lost: bool = False
    clearing: bool = False
    """A hold whose cause is gone: it lifts by itself if that lasts. Nobody who was not told yet needs to be."""
    told: bool = False
    ended: bool = False
    closure_told: bool = False

    def urgency(self, now: datetime) -> Urgency:
        """A held departure by its nearness; an alarm under way by what it does to the load."""
        if self.depart_at is not None:
            left = self.depart_at - now
            return Urgency.NOW if left <= NOW_WITHIN else Urgency.SOON if left <= SOON_WITHIN else Urgency.PLANNED
        if self.under_way:
            return Urgency.NOW if self.stop or self.heat_lost else Urgency.SOON
        return Urgency.PLANNED

    def rises_at(self, now: datetime) -> datetime | None:
        """When time alone makes it more urgent."""
        if self.depart_at is None:
            return None
        moments = (self.depart_at - SOON_WITHIN, self.depart_at - NOW_WITHIN)
        return next((moment for moment in moments if moment > now), None)


@dataclass(frozen=True, slots=True)
class NoticeFacts:
    """How far a notice has come."""

    urgency: Urgency | None = None
    """Of the present round; None before the first message."""
    step: int = -1
    started_at: datetime | None = None
    stepped_at: datetime | None = None
    seen_at: datetime | None = None
    told_trips: frozenset[int] = frozenset()
    tried: frozenset[int] = frozenset()
    """Routes that were sent something in this round."""
    accepted: bool = False
    """A channel took a message of this round."""
    owner_told: bool = False
