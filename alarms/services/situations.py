"""Collects what our own rules may read about a unit on its trip."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from alarms.derived.situation import LOOK_BACK, Sample, Situation
from alarms.rules import LEFT_WHILE_HELD
from alarms.services.reports import RULED, ruled_codes
from fleet.models import Hold, Phase, Reading, Trip
from fleet.readiness.assess import Answer
from fleet.readiness.facts import Facts
from fleet.readiness.hold_rules import STOPPING
from fleet.readiness.registry import at_preheat
from fleet.units.state import put_facts

HELD_PLACE = "alarms.held_place"
"""Unit fact: {"hold", "place"}, about where the unit stood when its hold was first seen. Kept only while the hold is
open, and rounded to a hundredth of a degree (about a kilometre), because a position is a driver's personal data."""
PLACE_DIGITS = 2


def situation_of(trip: Trip, answer: Answer, facts: Facts, *, now: datetime) -> Situation:
    """The situation of the unit: one statement for the readings of a warm box, one for the hold of a stopped trip.

    *facts*: those of the answer with the unit as it is now.
    """
    ruled = facts.unit.facts.get(RULED)
    open_codes = ruled_codes(None if ruled is None else ruled.value)
    stopped = answer.verdict in STOPPING or LEFT_WHILE_HELD in open_codes or _kept_place(facts) is not None
    hold = _open_hold(trip, facts.unit.id) if stopped else None
    return Situation(
        facts=facts,
        findings={finding.check: finding for finding in answer.findings},
        samples=_samples(facts, now),
        held_since=None if hold is None else hold.opened_at,
        held_place=_held_place(facts, hold, now),
        open_codes=open_codes,
        now=now,
    )


def _open_hold(trip: Trip, unit_id: int) -> Hold | None:
    if trip.state != Trip.State.PLANNED:
        return None
    hold: Hold | None = (
        Hold.objects.for_fleet(trip.fleet_id).filter(trip=trip, unit_id=unit_id, state=Hold.State.OPEN).first()
    )
    return hold


def _samples(facts: Facts, now: datetime) -> tuple[Sample, ...]:
    """Readings of the last while, once the load is on board or the box has to be warm for it."""
    if facts.trip.phase is not Phase.UNDER_WAY and now < at_preheat(facts):
        return ()
    names = ("return_air_c", "discharge_air_c", "cargo_c", "heater_running", "door_open")
    rows = (
        Reading.objects.across_fleets()
        .filter(unit_id=facts.unit.id, at__gte=now - LOOK_BACK)
        .order_by("at", "source_id")
        .values_list("at", *names)
    )
    return tuple(Sample(at, **dict(zip(names, values, strict=True))) for at, *values in rows)


def _kept_place(facts: Facts) -> dict[str, Any] | None:
    kept = facts.unit.facts.get(HELD_PLACE)
    return None if kept is None else kept.value


def _held_place(facts: Facts, hold: Hold | None, now: datetime) -> tuple[float, float] | None:
    """Where the unit stood when this hold was first seen; remembers it, and forgets it when the hold is over."""
    known = _kept_place(facts)
    if known is not None and hold is not None and known["hold"] == hold.pk:
        latitude, longitude = known["place"]
        return latitude, longitude
    position = facts.unit.values.get("position")
    place = None
    if hold is not None and position is not None:
        place = (round(position.value[0], PLACE_DIGITS), round(position.value[1], PLACE_DIGITS))
    fact = None if hold is None or place is None else {"hold": hold.pk, "place": list(place)}
    if fact != known:
        put_facts({facts.unit.id: {HELD_PLACE: fact}}, at=now, source="alarms")
    return place
