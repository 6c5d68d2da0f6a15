"""The calculator's way in: a body becomes the model's request; a unit or a commodity fills what is left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from typing import Any

from fleet.errors import FieldError, InvalidInput, NotFound
from fleet.models import Fleet
from fleet.readiness.facts import DESIGN_FIELDS
from fleet.trips.plan import filled_load, refuse_hazard
from fleet.trips.selectors import commodities_by_key, unit_of
from thermal import EstimateRequest, ThermalError, estimate, request_of
from thermal.adapter.designs import BOX_FIELDS, HEATER_FIELDS

COMMODITY_FIELDS = ("freezes_c", "damage_c", "high_c", "cp_kj_kgk", "latent_kj_kg", "respiration_w_kg")


def estimate_document(fleet: Fleet, body: Mapping[str, Any], *, now: datetime) -> dict[str, Any]:
    """The calculator's answer as a document. Stores nothing. *Raises* InvalidInput pointing at the value."""
    asked = request_for(fleet, body, now=now)
    with _pointing():
        return asdict(estimate(asked))


def request_for(fleet: Fleet, body: Mapping[str, Any], *, now: datetime) -> EstimateRequest:
    """The model's request of a body, filled from the unit and the commodity it names. *Raises* InvalidInput."""
    request = {
        name: dict(value) if isinstance(value, Mapping) else value
        for name, value in body.items()
        if value is not None and name != "unit"
    }
    request["trip"]["stops"] = [dict(stop) for stop in request["trip"].get("stops", [])]
    request["load"] = _load(fleet, request["load"])
    if body.get("unit") is not None:
        request |= _unit(fleet, body["unit"], request, now)
    with _pointing():
        return request_of(request)


@contextmanager
def _pointing() -> Iterator[None]:
    """Says of a value that the physics refuses where it stands in the body."""
    try:
        yield
    except ThermalError as error:
        pointer = "/" + error.field.replace(".", "/").replace("[", "/").replace("]", "")
        raise InvalidInput(str(error), errors=[FieldError(pointer, error.code, str(error))]) from error


def _load(fleet: Fleet, load: dict[str, Any]) -> dict[str, Any]:
    """The load with the properties of its commodity where it states none itself."""
    key = load.pop("commodity", None)
    if key is None:
        return load
    commodity = commodities_by_key(fleet.pk, {key}).get(key)
    if commodity is None:
        raise InvalidInput.at("/load/commodity", "unknown-commodity", "No commodity has this key.")
    refuse_hazard({"dangerous_goods": "none"}, commodity, "/load")
    resolved = filled_load({"commodity": key} | load, commodity)
    filled = {name: resolved[name] for name in COMMODITY_FIELDS if resolved.get(name) is not None}
    return filled | load


def _unit(fleet: Fleet, number: str, request: Mapping[str, Any], now: datetime) -> dict[str, Any]:
    """Box and heater of a unit of the fleet; its newest fuel when the body gives none."""
    try:
        unit = unit_of(fleet.pk, number)
    except NotFound as error:
        raise InvalidInput.at("/unit", "unknown-unit", "There is no such unit.") from error
    design = {name: getattr(unit.model, name) for name in DESIGN_FIELDS}
    box = {ours: design[name] for name, ours in BOX_FIELDS.items() if design[name] is not None}
    since = unit.built_on
    if unit.k_test_w_m2k is not None:
        box["k_w_m2k"], since = unit.k_test_w_m2k, unit.k_tested_on
    if since is not None:
        box["age_y"] = max((now.date() - since).days, 0) / 365.25
    heater = {ours: design[name] for name, ours in HEATER_FIELDS.items() if design[name] is not None}
    filled: dict[str, Any] = {"box": box, "heater": heater}
    fuel, tank_l = unit.state.values.get("fuel_l"), heater.get("tank_l")
    if "fuel_l" not in request and fuel is not None:
        filled["fuel_l"] = float(fuel[0]) if tank_l is None else min(float(fuel[0]), tank_l)
    if "reserve_l" not in request and design["reserve_l"] is not None:
        filled["reserve_l"] = design["reserve_l"]
    return filled
