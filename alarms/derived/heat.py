"""Rules on the box's air and load: heat lost, doors open while heating, leaving the range.

Each answers True (it is so), False (it is not, or the question does not apply), or None (it cannot be told: what was
said before stays). One reading alone raises nothing: readings of one cycle of the thermostat, or of a door that was
opened for a moment, look like a fault. The numbers are choices; docs/alarms.md lists them.
"""

from __future__ import annotations

from datetime import timedelta

from alarms.derived.situation import Sample, Situation, lasting

RISE_K = 1.0
"""Discharge air this little above return air brings no heat."""
BELOW_BAND_K = 2.0
"""Return air this far below the thermostat's band is colder than its own swing explains."""
RISING_K = 0.5
"""Return air that rose by more during the run is recovering, not losing heat."""
HEAT_LOST_FOR = timedelta(minutes=10)
DOOR_HEATING_FOR = timedelta(minutes=5)
OUT_OF_RANGE_FOR = timedelta(minutes=15)
AIR_GUARD_K = 1.0
"""Air swings with the heater; the load does not. Air counts as out of range only this far outside."""
DRIFT_OVER = timedelta(minutes=30)
DRIFT_AHEAD_H = 2.0
"""A load that reaches its limit within this time at its present rate is leaving its range."""
DEFAULT_HYSTERESIS_K = 1.0
"""Half-width of a thermostat's band when the unit model states none (common practice, no source)."""


def judge_heat_lost(situation: Situation) -> bool | None:
    """No heat reaches the box although it is colder than the heater should allow."""
    set_c = _set_point_c(situation)
    newest = situation.newest
    if set_c is None or newest is None:
        return None
    hysteresis_k = situation.facts.unit.design.get("hysteresis_k") or DEFAULT_HYSTERESIS_K
    floor_c = set_c - hysteresis_k - BELOW_BAND_K

    def heatless(sample: Sample) -> bool | None:
        if sample.door_open:
            return None
        if sample.return_air_c is None or sample.discharge_air_c is None:
            return None
        return sample.discharge_air_c <= sample.return_air_c + RISE_K and sample.return_air_c < floor_c

    now_heatless = heatless(newest)
    if not now_heatless:
        return now_heatless
    run = situation.run(heatless)
    first_c, last_c = run[0].return_air_c, run[-1].return_air_c
    assert first_c is not None
    assert last_c is not None
    if lasting(run, HEAT_LOST_FOR) and last_c <= first_c + RISING_K:
        return True
    return None


def _set_point_c(situation: Situation) -> float | None:
    """The lower of what the trip wants and what the unit says it holds: a unit turned down has not lost its heat."""
    wanted_c = situation.facts.trip.set_point_c
    reported = situation.facts.unit.values.get("set_point_c")
    known = [value for value in (wanted_c, None if reported is None else float(reported.value)) if value is not None]
    return min(known, default=None)


def judge_door_heating(situation: Situation) -> bool | None:
    """The doors stand open while the heater runs."""
    newest = situation.newest
    if newest is None:
        return None

    def heats_outside(sample: Sample) -> bool | None:
        if sample.door_open is None or sample.heater_running is None:
            return None
        return sample.door_open and sample.heater_running

    now_so = heats_outside(newest)
    if not now_so:
        return now_so
    return True if lasting(situation.run(heats_outside), DOOR_HEATING_FOR) else None


def judge_leaving_range(situation: Situation) -> bool | None:
    """The load (or, unmeasured, the air around it) is outside the agreed range or about to be."""
    low_c, high_c = situation.facts.trip.low_c, situation.facts.trip.high_c
    newest = situation.newest
    if low_c is None or high_c is None or newest is None:
        return None

    def outside(sample: Sample) -> bool | None:
        if sample.cargo_c is not None:
            return not low_c <= sample.cargo_c <= high_c
        if sample.return_air_c is None or sample.door_open:
            return None
        return not low_c - AIR_GUARD_K <= sample.return_air_c <= high_c + AIR_GUARD_K

    now_outside = outside(newest)
    if now_outside:
        return True if lasting(situation.run(outside), OUT_OF_RANGE_FOR) else None
    if _drifting_out(situation, low_c, high_c):
        return True
    return now_outside


def _drifting_out(situation: Situation, low_c: float, high_c: float) -> bool:
    """Whether the load's own temperature, near a limit, reaches it within `DRIFT_AHEAD_H` at its present rate."""
    points = [(sample.at, sample.cargo_c) for sample in situation.samples if sample.cargo_c is not None]
    if len(points) < 3 or points[-1][0] - points[0][0] < DRIFT_OVER:
        return False
    (first_at, first_c), (last_at, last_c) = points[0], points[-1]
    near_k = situation.facts.policy.load_margin_k
    if last_c - low_c > near_k and high_c - last_c > near_k:
        return False
    rate_k_h = (last_c - first_c) / ((last_at - first_at) / timedelta(hours=1))
    ahead_c = last_c + rate_k_h * DRIFT_AHEAD_H
    return ahead_c < low_c or ahead_c > high_c
