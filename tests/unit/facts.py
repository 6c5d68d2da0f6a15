"""Facts for pure tests of checks: one trip with one unit that is on, warm and full, and whatever a test changes.

The trip loads 4.5 h and leaves 6 h after NOW, arrives 20 h after that, and stops once on the way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from fleet.models.readiness import Phase
from fleet.policy import Policy
from fleet.readiness.facts import DESIGN_FIELDS, Design, Facts, Known, LoadFacts, StopFacts, TripFacts, UnitFacts
from fleet.readiness.findings import Finding
from fleet.readiness.registry import checks
from tests.factories import DESIGN

NOW = datetime(2027, 1, 12, 12, 0, tzinfo=UTC)
MIN, H, S = timedelta(minutes=1), timedelta(hours=1), timedelta(seconds=1)
LOADING, DEPART, ARRIVE = NOW + 4.5 * H, NOW + 6 * H, NOW + 26 * H
SOURCE = "gateway/yard-3"
VALUES: Mapping[str, Any] = {
    "return_air_c": 7.1, "discharge_air_c": 20.0, "set_point_c": 7.0, "ambient_c": -10.0, "cargo_c": 8.0,
    "fuel_l": 150.0, "battery_v": 12.7, "engine_hours_h": 1834.0, "heater_running": True, "unit_on": True,
    "door_open": False,
}  # fmt: skip
INSPECTED: Mapping[str, Any] = {
    "inspections.coolant_glycol_pct": 50.0,
    "inspections.battery_rest_v": {"volts": 12.7, "rest_h": 3.0, "temp_c": 10.0},
    "inspections.fuel_grade": "en590-class-2",
}
POTATO = LoadFacts(
    commodity="potato",
    mass_kg=18_000.0,
    temperature_c=8.0,
    set_point_c=7.0,
    low_c=4.0,
    high_c=15.0,
    damage_c=-0.6,
    freezes_c=-0.6,
    cp_kj_kgk=3.67,
    latent_kj_kg=264.0,
    respiration_w_kg=0.0,
    no_heat_needed=False,
)
STOPS = (
    StopFacts("Vinterby depot", DEPART + 8 * H, DEPART + 9 * H, 25.0, heater_off=True, refuel=True),
    StopFacts("Norrholm market", ARRIVE, None, 0.0, heater_off=False, refuel=False),
)
AMBIENT = ((NOW - H, -10.0), (DEPART + 10 * H, -22.0), (DEPART + 30 * H, -15.0))


def load(**changes: Any) -> LoadFacts:
    return replace(POTATO, **changes)


def known(value: Any, at: datetime = NOW) -> Known:
    return Known(value, at, SOURCE)


def _knowns(defaults: Mapping[str, Any], changes: Mapping[str, Any] | None) -> dict[str, Known]:
    """Values as Known at NOW unless a test says when; None takes a value away."""
    merged = {**defaults, **(changes or {})}
    return {
        name: value if isinstance(value, Known) else known(value) for name, value in merged.items() if value is not None
    }


def facts(
    *,
    loads: Sequence[LoadFacts] = (POTATO,),
    values: Mapping[str, Any] | None = None,
    said: Mapping[str, Any] | None = None,
    design: Mapping[str, float | None] | None = None,
    policy: Mapping[str, float] | None = None,
    unit: Mapping[str, Any] | None = None,
    **trip: Any,
) -> Facts:
    """The story above with changes: *values* are readings, *said* unit facts of other apps, the rest the trip's."""
    plan = {
        "id": 1,
        "reference": "T-1",
        "phase": Phase.PLANNED,
        "loading_at": LOADING,
        "depart_at": DEPART,
        "arrive_at": ARRIVE,
        "departed_at": None,
        "loads": tuple(loads),
        "stops": STOPS,
        "ambient": AMBIENT,
        "ambient_issued_at": NOW - H,
        "help_median_h": 3.0,
        "help_p90_h": 6.0,
        "set_point_changed_at": None,
        "version": 3,
        "ambient_version": 2,
    }
    return Facts(
        fleet_id=1,
        trip=TripFacts(**{**plan, **trip}),
        unit=unit_facts(values=values, said=said, design=design, **(unit or {})),
        policy=Policy(policy, version=5),
    )


def unit_facts(
    *,
    values: Mapping[str, Any] | None = None,
    said: Mapping[str, Any] | None = None,
    design: Mapping[str, float | None] | None = None,
    **changes: Any,
) -> UnitFacts:
    row = {
        "id": 7,
        "number": "HB-104",
        "in_service": True,
        "built_on": None,
        "k_test_w_m2k": None,
        "k_tested_on": None,
        "serviced_at_h": None,
        "serviced_on": None,
        "design": Design(dict.fromkeys(DESIGN_FIELDS) | DESIGN | (dict(design) if design else {})),
        "values": _knowns(VALUES, values),
        "facts": _knowns(INSPECTED, said),
        "newest_at": NOW,
        "version": 4,
        "model_version": 1,
    }
    return UnitFacts(**{**row, **changes})  # type: ignore[arg-type]


def under_way(*, departed_at: datetime = DEPART, **changes: Any) -> Facts:
    """The same trip after it has left."""
    return facts(phase=Phase.UNDER_WAY, departed_at=departed_at, **changes)


def ask(check_id: str, of: Facts, now: datetime = NOW) -> Finding:
    """What one check says, asked as the framework asks it, its own gather included."""
    check = checks[check_id]
    material = None if check.gather is None else check.gather([of], now).get((of.trip.id, of.unit.id))
    return check.judge(of, material, now)
