"""Rules on the trip: set point not taken, fuel short of the next fill, left while held, silent under way.

Answers as in `alarms.derived.heat`: True, False, or None when it cannot be told.
"""

from __future__ import annotations

import math
from datetime import timedelta

from alarms.derived.situation import Situation
from fleet.readiness.findings import Outcome

TAKES_FOR = timedelta(minutes=15)
"""A unit and its gateway get this long to take a new set point and say so."""
MOVING_KM_H = 5.0
MOVED_KM = 2.0
EARTH_RADIUS_KM = 6371.0
"""Mean radius; a sphere is exact to 0.5 %, which is far below `MOVED_KM`."""
FUEL_CHECK = "thermal.fuel"


def judge_set_point_not_taken(situation: Situation) -> bool | None:
    """The trip's set point was changed, and the unit still says another one or has said none since."""
    trip = situation.facts.trip
    changed_at, wanted_c = trip.set_point_changed_at, trip.set_point_c
    if changed_at is None or wanted_c is None:
        return False
    if situation.now - changed_at < TAKES_FOR:
        return None
    reported = situation.facts.unit.values.get("set_point_c")
    if reported is not None and reported.at >= changed_at:
        return abs(float(reported.value) - wanted_c) > situation.facts.policy.set_point_tolerance_k
    newest_at = situation.facts.unit.newest_at
    heard_since = newest_at is not None and newest_at - changed_at >= TAKES_FOR
    return True if heard_since else None


def judge_fuel_short(situation: Situation) -> bool | None:
    """The fuel does not reach the next fill, by the newest answer of the fuel check."""
    finding = situation.findings.get(FUEL_CHECK)
    if finding is None or finding.outcome in (Outcome.UNKNOWN, Outcome.PENDING):
        return None
    return finding.outcome is Outcome.BLOCK


def judge_left_while_held(situation: Situation) -> bool | None:
    """The unit moves, or has moved, although its planned trip is held. Once seen it stays so while the hold does."""
    held_since = situation.held_since
    if held_since is None:
        return False
    if "left-while-held" in situation.open_codes:
        return True
    speed = situation.fresh("speed_km_h")
    if speed is not None and speed.at >= held_since and float(speed.value) > MOVING_KM_H:
        return True
    position = situation.facts.unit.values.get("position")
    if position is not None and situation.held_place is not None:
        latitude, longitude = position.value
        if distance_km(situation.held_place, (latitude, longitude)) > MOVED_KM:
            return True
    return None if speed is None and position is None else False


def judge_silent(situation: Situation) -> bool | None:
    """Under way, and nothing was heard of the unit for longer than the policy allows."""
    unit, trip = situation.facts.unit, situation.facts.trip
    heard_at = unit.newest_at or trip.departed_at
    if heard_at is None:
        return None
    return situation.now - heard_at >= timedelta(hours=situation.facts.policy.under_way_silent_h)


def distance_km(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Great-circle distance of two places given as (latitude, longitude) in degrees [km], haversine formula."""
    lat_a, lon_a, lat_b, lon_b = (math.radians(value) for value in (*a, *b))
    half = math.sin((lat_b - lat_a) / 2) ** 2
    half += math.cos(lat_a) * math.cos(lat_b) * math.sin((lon_b - lon_a) / 2) ** 2
    return 2 * EARTH_RADIUS_KM * math.asin(math.sqrt(min(half, 1.0)))
