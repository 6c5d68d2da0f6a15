"""Rows for tests: one fixed cast of two invented carriers. `Tarn Haulage` acts, `Other Lines` must see nothing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from fleet.members import admit_member, found_fleet, issue_token
from fleet.models import Commodity, Fleet, Member, Role, Unit, UnitModel, UnitState

DESIGN = {
    "k_w_m2k": 0.45,
    "area_m2": 147.0,
    "volume_m3": 85.0,
    "heater_output_kw": 8.0,
    "burn_high_l_h": 1.1,
    "burn_low_l_h": 0.0,
    "tank_l": 190.0,
    "reserve_l": 15.0,
    "hysteresis_k": 1.0,
    "nominal_v": 12.0,
}


def make_fleet(slug: str = "tarn", name: str = "Tarn Haulage") -> Fleet:
    return found_fleet(name=name, slug=slug, owner_email=f"owner@{slug}.example", time_zone="Europe/Helsinki")


def make_member(fleet: Fleet, role: Role) -> Member:
    return admit_member(
        fleet, username=f"{fleet.slug}-{role}", name=f"{role} of {fleet.name}", role=role,
        email=f"{role}@{fleet.slug}.example",
    )  # fmt: skip


def token_of(fleet: Fleet, role: Role) -> str:
    member = Member.objects.filter(fleet=fleet, role=role).first() or make_member(fleet, role)
    return issue_token(member)


def make_model(fleet: Fleet, key: str = "box-8", **changes: Any) -> UnitModel:
    return UnitModel.objects.create(fleet=fleet, key=key, name=f"Box {key}", **{**DESIGN, **changes})


def make_unit(fleet: Fleet, number: str = "HB-104", model: UnitModel | None = None, **changes: Any) -> Unit:
    known = model or UnitModel.objects.for_fleet(fleet).first() or make_model(fleet)
    unit = Unit.objects.create(fleet=fleet, number=number, model=known, **changes)
    UnitState.objects.create(fleet=fleet, unit=unit)
    return unit


def potato() -> Commodity:
    """The built-in row when the table is loaded, else one like it."""
    row, _ = Commodity.objects.across_fleets().get_or_create(
        key="potato",
        fleet=None,
        defaults={
            "name": "Potato", "freezes_c": -0.6, "low_c": 4.0, "high_c": 10.0, "cp_kj_kgk": 3.67,
            "latent_kj_kg": 264.0, "source": "tests",
        },
    )  # fmt: skip
    return row


def instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def trip_body(now: datetime, *, reference: str = "T-1", unit: str | None = "HB-104", **changes: Any) -> dict[str, Any]:
    """A trip that loads in 4.5 h and leaves in 6 h, through one cold night, with one stop on the way."""
    loading, depart = now + timedelta(hours=4.5), now + timedelta(hours=6)
    body: dict[str, Any] = {
        "reference": reference,
        "planned_unit": unit,
        "loading_at": instant(loading),
        "depart_at": instant(depart),
        "load": {
            "commodity": "potato", "mass_kg": 18000, "temperature_c": 8.0, "set_point_c": 7.0, "low_c": 4.0,
            "high_c": 15.0,
        },
        "stops": [
            {"place": "Vinterby depot", "arrive_at": instant(depart + timedelta(hours=8)),
             "leave_at": instant(depart + timedelta(hours=9)), "door_open_min": 25, "refuel": True},
            {"place": "Norrholm market", "arrive_at": instant(depart + timedelta(hours=20))},
        ],
        "ambient": [
            {"at": instant(now - timedelta(hours=1)), "temp_c": -10.0},
            {"at": instant(depart + timedelta(hours=10)), "temp_c": -22.0},
            {"at": instant(depart + timedelta(hours=24)), "temp_c": -15.0},
        ],
        "ambient_issued_at": instant(now - timedelta(hours=1)),
        "help": {"median_h": 3.0, "p90_h": 6.0},
    }  # fmt: skip
    return body | changes


def reading(
    at: datetime, *, unit: str = "HB-104", source: str = "gateway/yard-3", id_: str = "", **data: Any
) -> dict[str, Any]:
    """A reading event of a unit that is warm, on, and full."""
    values = {
        "return_air_c": 7.1, "discharge_air_c": 20.0, "set_point_c": 7.0, "ambient_c": -10.0, "cargo_c": 8.0,
        "fuel_l": 150.0, "battery_v": 12.7, "coolant_c": 78.0, "engine_hours_h": 1834.2, "heater_running": True,
        "unit_on": True, "door_open": False,
    }  # fmt: skip
    return {
        "specversion": "1.0",
        "id": id_ or f"r-{unit}-{at.timestamp():.3f}",
        "source": source,
        "type": "unit.reading.v1",
        "subject": unit,
        "time": instant(at),
        "data": {key: value for key, value in (values | data).items() if value is not None},
    }


def fault(
    at: datetime,
    code: str,
    *,
    state: str = "raised",
    unit: str = "HB-104",
    id_: str = "",
    source: str = "gateway/yard-3",
) -> dict[str, Any]:
    """A fault event by code."""
    return {
        "specversion": "1.0",
        "id": id_ or f"f-{unit}-{code}-{state}-{at.timestamp():.3f}",
        "source": source,
        "type": "unit.fault.v1",
        "subject": unit,
        "time": instant(at),
        "data": {"state": state, "code": code},
    }
