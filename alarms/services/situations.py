"""Collects what our own rules may read about a unit on its trip."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import groupby
from operator import itemgetter
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


Asked = tuple[Trip, Answer, Facts]
"""A trip, its answer, and the answer's facts with the unit as it is now."""
Place = tuple[float, float]


def situations_of(asked: Sequence[Asked], *, now: datetime) -> list[Situation]:
    """The situation of each unit on its trip, in the same order; no unit twice.

    However many: one statement for the readings of warm boxes, one for the holds of stopped trips, and two more when
    a place is to be remembered or forgotten.
    """
    ruled = [_ruled_codes(facts) for _, _, facts in asked]
    holds = _open_holds([one for one, codes in zip(asked, ruled, strict=True) if _stopped(one, codes)])
    samples = _samples([facts for _, _, facts in asked], now)
    found, moved = [], {}
    for (trip, answer, facts), codes in zip(asked, ruled, strict=True):
        hold = holds.get((trip.pk, facts.unit.id))
        kept, fact, place = _kept_place(facts), *_held_place(facts, hold)
        if fact != kept:
            moved[facts.unit.id] = {HELD_PLACE: fact}
        found.append(
            Situation(
                facts=facts,
                findings={finding.check: finding for finding in answer.findings},
                samples=samples.get(facts.unit.id, ()),
                held_since=None if hold is None else hold.opened_at,
                held_place=place,
                open_codes=codes,
                now=now,
            )
        )
    if moved:
        put_facts(moved, at=now, source="alarms")
    return found


def _ruled_codes(facts: Facts) -> frozenset[str]:
    ruled = facts.unit.facts.get(RULED)
    return ruled_codes(None if ruled is None else ruled.value)


def _stopped(asked: Asked, open_codes: frozenset[str]) -> bool:
    """Whether a hold may matter: the answer stops the trip, or something of an earlier hold is still known."""
    trip, answer, facts = asked
    known = LEFT_WHILE_HELD in open_codes or _kept_place(facts) is not None
    return trip.state == Trip.State.PLANNED and (answer.verdict in STOPPING or known)


def _open_holds(stopped: Sequence[Asked]) -> dict[tuple[int, int], Hold]:
    """Open holds by (trip id, unit id)."""
    if not stopped:
        return {}
    rows = Hold.objects.across_fleets().filter(trip_id__in=[trip.pk for trip, _, _ in stopped], state=Hold.State.OPEN)
    return {(hold.trip_id, hold.unit_id): hold for hold in rows}


def _samples(many: Sequence[Facts], now: datetime) -> dict[int, tuple[Sample, ...]]:
    """Readings of the last while by unit, once the load is on board or the box has to be warm for it."""
    warm = [facts.unit.id for facts in many if facts.trip.phase is Phase.UNDER_WAY or now >= at_preheat(facts)]
    if not warm:
        return {}
    names = ("return_air_c", "discharge_air_c", "cargo_c", "heater_running", "door_open")
    rows = (
        Reading.objects.across_fleets()
        .filter(unit_id__in=warm, at__gte=now - LOOK_BACK)
        .order_by("unit_id", "at", "source_id")
        .values_list("unit_id", "at", *names)
    )
    return {
        unit_id: tuple(Sample(at, **dict(zip(names, values, strict=True))) for _, at, *values in own)
        for unit_id, own in groupby(rows, key=itemgetter(0))
    }


def _kept_place(facts: Facts) -> dict[str, Any] | None:
    kept = facts.unit.facts.get(HELD_PLACE)
    return None if kept is None else kept.value


def _held_place(facts: Facts, hold: Hold | None) -> tuple[dict[str, Any] | None, Place | None]:
    """What is to be kept of where the unit stood when this hold was first seen, and that place."""
    known = _kept_place(facts)
    if known is not None and hold is not None and known["hold"] == hold.pk:
        latitude, longitude = known["place"]
        return known, (latitude, longitude)
    position = facts.unit.values.get("position")
    if hold is None or position is None:
        return None, None
    place = (round(position.value[0], PLACE_DIGITS), round(position.value[1], PLACE_DIGITS))
    return {"hold": hold.pk, "place": list(place)}, place
