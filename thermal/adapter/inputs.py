"""Rows become the model's inputs: facts of one trip and unit in, `thermal` values out, with what was assumed.

Hours count from `starts_at`: the departure of a planned trip (now, when it is overdue), the present of one under way.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import msgspec

from fleet.checks.load_temperature import measured_load
from fleet.durations import HOUR, hours
from fleet.models.readiness import Phase
from fleet.readiness.facts import Facts, Known, LoadFacts, StopFacts, TripFacts, UnitFacts
from thermal import Box, Heater, Load, Risk, Start, Stop, Trip, Unit, failure_posterior, govern, help_gsd
from thermal.adapter.ambient import ambient_hours
from thermal.adapter.designs import NEEDED, box_stated, heater_of, made, unstated
from thermal.adapter.knowledge import K_FACT, Knowledge, knowledge_of
from thermal.mixed import Governed

FIRST_POINT_GRACE = timedelta(hours=1)
"""A forecast whose first point is this little after the start is held back to it."""
FRESH_START = timedelta(hours=1)
"""Measured air this fresh is where a trip under way starts from."""


class Inputs(msgspec.Struct, frozen=True, gc=False):
    """What the model is asked for one trip and unit."""

    starts_at: datetime
    unit: Unit
    load: Load | None
    governed: Governed
    trip: Trip
    risk: Risk
    fuel: Known | None
    knowledge: Knowledge

    @property
    def k_source(self) -> str:
        return self.knowledge.k_source


class NotEnough(msgspec.Struct, frozen=True, gc=False):
    """Why the model cannot be asked: what is missing, in words; never replaced by a plausible number."""

    design: tuple[str, ...] = ()
    forecast: str = ""
    load: tuple[str, ...] = ()
    fuel: bool = False

    @property
    def words(self) -> str:
        parts = []
        if self.design:
            parts.append(f"the unit model does not state {', '.join(self.design)}")
        if self.forecast:
            parts.append(self.forecast)
        if self.load:
            parts.append(f"the load does not state {', '.join(self.load)}")
        if self.fuel:
            parts.append("there is no fuel reading")
        return "Not known: " + "; ".join(parts) + "."


@lru_cache(maxsize=256)
def forecast_gap(trip: TripFacts, now: datetime) -> str:
    """Why the ambient forecast does not serve this trip; empty when it does."""
    points = trip.ambient
    if not points:
        return "there is no ambient forecast"
    if points[-1][0] < trip.expected_at(now):
        return f"the ambient forecast ends {points[-1][0]:%Y-%m-%d %H:%M} UTC, before the last arrival"
    if points[0][0] > trip.starts_at(now) + FIRST_POINT_GRACE:
        return f"the ambient forecast begins {points[0][0]:%Y-%m-%d %H:%M} UTC, after departure"
    return ""


def newest_fuel(facts: Facts, now: datetime) -> Known | None:
    """The newest of gauge and dip, if it is not older than the policy allows for a parked unit."""
    known = [facts.unit.values.get("fuel_l"), facts.unit.facts.get("inspections.fuel_dip_l")]
    counts_for = hours(facts.policy.fuel_measured_h)
    fresh = [value for value in known if value is not None and now - value.at < counts_for]
    return max(fresh, key=lambda value: value.at) if fresh else None


def inputs_of(facts: Facts, now: datetime) -> Inputs | NotEnough:
    """The model's inputs, or why there are not enough. *Raises* ThermalError for values the physics refuses."""
    design = _design_gaps(facts.unit)
    gap = forecast_gap(facts.trip, now)
    load_gaps = _load_gaps(facts.trip)
    fuel = newest_fuel(facts, now)
    if design or gap or load_gaps:
        return NotEnough(design, gap, load_gaps, fuel is None)
    starts_at = facts.trip.starts_at(now)
    measured = measured_load(facts, now)
    governed = _governed(facts.trip, None if measured is None else float(measured.value))
    if governed.empty:
        return NotEnough(load=("limits that leave a temperature for all of it",))
    known = knowledge_of(facts.unit, now)
    heater = _as_learned(heater_of(facts.unit.design), known)
    reserve_l = facts.unit.design["reserve_l"]
    unit = Unit(
        box=made(Box, **{**box_stated(facts.unit.design), "k_w_m2k": known.k_w_m2k, "age_y": known.age_y}),
        heater=heater,
        fuel_l=None if fuel is None else min(max(float(fuel.value) - known.gauge_high_l, 0.0), heater.tank_l),
        **({} if reserve_l is None else {"reserve_l": reserve_l}),
    )
    return Inputs(
        starts_at=starts_at,
        unit=unit,
        load=governed.load,
        governed=governed,
        trip=_journey(facts.trip, _start(facts, governed, now), now),
        risk=_risk(facts, starts_at, known, now),
        fuel=fuel,
        knowledge=known,
    )


def _as_learned(heater: Heater, known: Knowledge) -> Heater:
    """The heater, changed by what its readings have shown of its heat and its burn."""
    if known.output == known.burn == 1.0:
        return heater
    return replace(
        heater,
        output_kw=heater.output_kw * known.output,
        output_low_kw=heater.output_low_kw * known.output,
        burn_high_l_h=heater.burn_high_l_h * known.burn,
        burn_low_l_h=heater.burn_low_l_h * known.burn,
    )


# Remembered under the trip's very value: a thousand candidates ask for the same journey and load.


@lru_cache(maxsize=256)
def _journey(trip: TripFacts, start: Start | None, now: datetime) -> Trip:
    set_point_c = trip.set_point_c
    assert set_point_c is not None
    stops = _stops(trip.stops, trip.starts_at(now) - trip.delay(now))
    journey: Trip = made(
        Trip, set_point_c=set_point_c, ambient_c=ambient_hours(trip, now), stops=stops, start=start
    )  # fmt: skip
    return journey


@lru_cache(maxsize=256)
def _governed(trip: TripFacts, measured_c: float | None) -> Governed:
    return govern(tuple(_load(load, measured_c) for load in trip.loads if not load.no_heat_needed))


def _design_gaps(unit: UnitFacts) -> tuple[str, ...]:
    missing = unstated(unit.design)
    if not missing:
        return ()
    learned = unit.facts.get(K_FACT)
    if unit.k_test_w_m2k is not None or (learned is not None and learned.value):
        missing -= {"k_w_m2k"}
    return tuple(words for name, words in NEEDED.items() if name in missing)


@lru_cache(maxsize=256)
def _load_gaps(trip: TripFacts) -> tuple[str, ...]:
    needed = {
        "temperature_c": "its temperature",
        "damage_c": "its damage limit",
        "high_c": "its warm limit",
        "set_point_c": "its set point",
    }
    heated = [load for load in trip.loads if not load.no_heat_needed]
    return tuple(words for name, words in needed.items() if any(getattr(load, name) is None for load in heated))


def _load(load: LoadFacts, measured_c: float | None) -> Load:
    """One load; measured at loading or under way, its measured temperature replaces the declared one."""
    given: dict[str, Any] = {
        "temperature_c": load.temperature_c if measured_c is None else measured_c,
        "freezes_c": load.freezes_c,
        "damage_c": load.damage_c,
        "high_c": load.high_c,
        "cp_kj_kgk": load.cp_kj_kgk,
        "latent_kj_kg": load.latent_kj_kg,
        "respiration_w_kg": load.respiration_w_kg,
    }
    if given["freezes_c"] is None and given["damage_c"] is not None:
        given["freezes_c"] = min(given["damage_c"], 0.0)
    stated = {name: value for name, value in given.items() if value is not None}
    one: Load = made(Load, mass_kg=load.mass_kg, **stated)
    return one


def _stops(stops: tuple[StopFacts, ...], starts_at: datetime) -> tuple[Stop, ...]:
    """Stops still ahead, in hours from *starts_at*, which is moved back by the trip's delay: stops are late too.

    The time doors are open is a stop of its own, without heat unless the plan says otherwise.
    """
    made = []
    for stop in stops[:-1]:
        at_h = (stop.arrive_at - starts_at) / HOUR
        open_h = stop.door_open_min / 60
        if at_h < 0:
            open_h, at_h = at_h + open_h, 0.0
        refuel = stop.refuel and stop.arrive_at > starts_at
        if open_h >= 0.01:
            made.append(Stop(at_h=at_h, duration_h=open_h, refuel=refuel, heater_off=stop.heater_off))
        elif refuel:
            made.append(Stop(at_h=at_h, duration_h=0.01, open_share=0.0, refuel=True))
    return tuple(made)


def _start(facts: Facts, governed: Governed, now: datetime) -> Start | None:
    """Where the forecast starts from: measured air under way; the coldest and warmest part of a mixed load."""
    mixed = governed.edge_c != governed.core_c
    edge_c, core_c = (governed.edge_c, governed.core_c) if mixed else (None, None)
    air = facts.unit.values.get("return_air_c")
    if facts.trip.phase is not Phase.UNDER_WAY or air is None or now - air.at > FRESH_START:
        return Start(edge_c=edge_c, core_c=core_c) if mixed else None
    running = facts.unit.values.get("heater_running")
    hot = running is not None and bool(running.value)
    return Start(air_c=float(air.value), edge_c=edge_c, core_c=core_c, heater_hot=hot)


def _risk(facts: Facts, starts_at: datetime, known: Knowledge, now: datetime) -> Risk:
    median_h = facts.trip.help_median_h or facts.policy.help_median_h
    p90_h = facts.trip.help_p90_h or facts.policy.help_p90_h
    failures, engine_h = failure_history(facts.unit)
    issued_at = facts.trip.ambient_issued_at or now
    risk: Risk = made(
        Risk,
        sd_ln_k=known.sd_ln_k,
        **({} if known.sd_ln_burn is None else {"sd_ln_burn": known.sd_ln_burn}),
        lead_h=min(max((starts_at - issued_at) / HOUR, 0.0), 240.0),
        failures=failures,
        engine_h=engine_h,
        help_median_h=median_h,
        help_gsd=_help_gsd(median_h, p90_h),
    )
    return risk


@lru_cache(maxsize=256)
def _help_gsd(median_h: float, p90_h: float) -> float:
    return max(help_gsd(median_h=median_h, p90_h=max(p90_h, median_h * 1.02)), 1.02)


def failure_history(unit: UnitFacts) -> tuple[float, float]:
    """Gamma posterior of the unit's failures per engine hour: faults that stopped its heat, as the alarm records
    count them, over the engine hours that its readings span. Without hours the faults say nothing of a rate."""
    first, last = unit.facts.get("fleet.first_engine_hours"), unit.values.get("engine_hours_h")
    if first is None or last is None or last.value <= first.value:
        return failure_posterior(failures=0, engine_h=0)
    failures = unit.facts.get("alarms.heat_failures")
    return failure_posterior(
        failures=0 if failures is None else float(failures.value), engine_h=float(last.value) - float(first.value)
    )
