"""What a trip's plan must obey, and how loads get their limits. Pure, but for the commodity table it is given."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from fleet.clock import text_of
from fleet.errors import FieldError, InvalidInput, WarmgateError
from fleet.models import Commodity

LONGEST_TRIP = timedelta(days=21)
LONGEST_WAIT = timedelta(days=7)
"""Between loading and departure."""


class HazardousLoad(WarmgateError):
    """Dangerous goods are refused, not guessed."""

    code = "hazardous-load"


def times_faults(loading_at: datetime, depart_at: datetime, stops: Sequence[Mapping[str, Any]]) -> list[FieldError]:
    """What is wrong with the order of a trip's times; empty when nothing is."""
    faults: list[FieldError] = []
    if loading_at > depart_at:
        faults.append(FieldError("/loading_at", "order", "Loading must not be after departure."))
    if depart_at - loading_at > LONGEST_WAIT:
        faults.append(FieldError("/loading_at", "order", "Loading is more than 7 days before departure."))
    last = depart_at
    for index, stop in enumerate(stops):
        here = f"/stops/{index}"
        if stop["arrive_at"] <= last:
            faults.append(FieldError(f"{here}/arrive_at", "order", "Must be after the time before it."))
        leave_at = stop.get("leave_at")
        if leave_at is not None and leave_at < stop["arrive_at"]:
            faults.append(FieldError(f"{here}/leave_at", "order", "Must not be before the arrival."))
        if leave_at is None and index < len(stops) - 1:
            faults.append(FieldError(f"{here}/leave_at", "required", "Only the last stop has no time of leaving."))
        if leave_at is not None and stop["door_open_min"] > (leave_at - stop["arrive_at"]) / timedelta(minutes=1):
            faults.append(FieldError(f"{here}/door_open_min", "order", "Doors are open longer than the stop lasts."))
        last = leave_at or stop["arrive_at"]
    if stops and stops[-1]["arrive_at"] - depart_at > LONGEST_TRIP:
        faults.append(FieldError("/stops", "order", "The trip takes more than 21 days."))
    return faults


def ambient_faults(points: Sequence[Mapping[str, Any]], pointer: str = "/ambient") -> list[FieldError]:
    """Points of an ambient forecast must go forward in time."""
    return [
        FieldError(f"{pointer}/{index}/at", "order", "Points must go forward in time.")
        for index, (before, after) in enumerate(pairwise(points), start=1)
        if after["at"] <= before["at"]
    ]


def stored_stops(stops: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Stops as they are kept. While doors are open the heater is taken as off, unless the caller says otherwise."""
    return [
        {
            "place": stop["place"],
            "arrive_at": text_of(stop["arrive_at"]),
            "leave_at": text_of(stop["leave_at"]) if stop.get("leave_at") else None,
            "door_open_min": stop["door_open_min"],
            "heater_off": stop["door_open_min"] > 0 if stop.get("heater_off") is None else stop["heater_off"],
            "refuel": stop["refuel"],
        }
        for stop in stops
    ]


def stored_ambient(points: Sequence[Mapping[str, Any]]) -> list[list[Any]]:
    return [[text_of(point["at"]), point["temp_c"]] for point in points]


def resolve_loads(
    loads: Sequence[Mapping[str, Any]], commodities: Mapping[str, Commodity], *, pointer: str
) -> list[dict[str, Any]]:
    """Loads with every limit filled in: the caller's value, else the commodity's.

    *Raises* InvalidInput for unknown commodities and contradictory limits, HazardousLoad for dangerous goods.
    """
    resolved, faults = [], []
    for index, load in enumerate(loads):
        here = pointer.format(index=index)
        commodity = commodities.get(load["commodity"])
        if commodity is None:
            faults.append(FieldError(f"{here}/commodity", "unknown-commodity", "No commodity has this key."))
            continue
        refuse_hazard(load, commodity, here)
        filled = filled_load(load, commodity)
        faults += _limit_faults(filled, here)
        resolved.append(filled)
    points = {load["set_point_c"] for load in resolved if load["set_point_c"] is not None}
    if len(points) > 1:
        faults.append(
            FieldError(pointer.format(index=0) + "/set_point_c", "contradiction", "One box has one set point.")
        )
    if faults:
        raise InvalidInput("The load cannot be taken as it is.", errors=faults)
    return resolved


def refuse_hazard(load: Mapping[str, Any], commodity: Commodity, here: str) -> None:
    """*Raises* HazardousLoad for goods that are dangerous, or that may be and do not say that they are not."""
    stated = load.get("dangerous_goods")
    if commodity.hazard == "refused" or stated not in (None, "none"):
        words = f"{commodity.name} is dangerous goods, or stated to be; a heated unit may not take it."
        raise HazardousLoad(words, errors=[FieldError(f"{here}/commodity", "hazardous-load", words)])
    if commodity.hazard == "must_state" and stated is None:
        words = f'{commodity.name} may be dangerous goods: state "dangerous_goods": "none" if it is classed as none.'
        raise HazardousLoad(words, errors=[FieldError(f"{here}/dangerous_goods", "class-not-stated", words)])


DEFAULTED = ("low_c", "high_c", "freezes_c", "cp_kj_kgk", "latent_kj_kg", "respiration_w_kg")


def filled_load(load: Mapping[str, Any], commodity: Commodity) -> dict[str, Any]:
    """The load with every limit and property: the caller's value, else the commodity's."""
    filled = {name: load.get(name) if load.get(name) is not None else getattr(commodity, name) for name in DEFAULTED}
    limits = [limit for limit in (filled["freezes_c"], commodity.chill_c) if limit is not None]
    damage_c = load.get("damage_c")
    return filled | {
        "commodity": load["commodity"],
        "mass_kg": load["mass_kg"],
        "temperature_c": load.get("temperature_c"),
        "set_point_c": load.get("set_point_c"),
        "damage_c": damage_c if damage_c is not None else max(limits, default=None),
        "no_heat_needed": commodity.no_heat_needed,
        "dangerous_goods": load.get("dangerous_goods"),
    }


def _within(value: float, low: float | None, high: float | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


def _limit_faults(load: Mapping[str, Any], here: str) -> list[FieldError]:
    faults = []
    low_c, high_c, damage_c, set_point_c = (load[name] for name in ("low_c", "high_c", "damage_c", "set_point_c"))
    if low_c is not None and high_c is not None and low_c >= high_c:
        faults.append(FieldError(f"{here}/low_c", "order", "Must be below high_c."))
    if damage_c is not None and high_c is not None and damage_c >= high_c:
        faults.append(FieldError(f"{here}/damage_c", "order", "Must be below high_c."))
    if not load["no_heat_needed"] and set_point_c is None:
        faults.append(FieldError(f"{here}/set_point_c", "required", "A load that needs heat needs a set point."))
    elif set_point_c is not None and not _within(set_point_c, low_c, high_c):
        faults.append(FieldError(f"{here}/set_point_c", "order", "Must be from low_c to high_c."))
    return faults
