"""The calculator's request: a plain mapping in, checked values out, with a note of what was assumed.

Field names are those of `thermal.defaults`; errors name the field as the caller wrote it, `trip.stops[2].at_h`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from thermal.defaults import FIELDS, REQUIRED, UnknownField
from thermal.errors import Missing, OutOfRange, ThermalError
from thermal.params import Box, Heater, Load, Risk, Stop, Trip, Unit

__all__ = ["EstimateRequest", "defaults_used", "request_of"]

Part = TypeVar("Part", Box, Heater, Load, Risk, Stop)

_GROUPS = ("box", "heater", "load", "trip", "risk")
_TOP = ("fuel_l", "reserve_l")
# Null is an answer of its own here, not "use the default".
_NULL_MEANS = frozenset({"risk.forecast_tail_df", "trip.box_start_c", "load.high_c"})


@dataclass(frozen=True, slots=True)
class EstimateRequest:
    """What the calculator is asked: a unit, a load, a trip, a risk, and the names of the fields that were given."""

    unit: Unit
    load: Load
    trip: Trip
    risk: Risk
    given: frozenset[str]


def request_of(data: Mapping[str, Any]) -> EstimateRequest:
    """Return the checked request of a mapping with the groups box, heater, load, trip, risk, fuel_l and reserve_l.

    Null counts as not given, except where it has its own meaning (`risk.forecast_tail_df`, `trip.box_start_c`,
    `load.high_c`).

    Raises
    ------
    Missing
        A required field is not there.
    UnknownField
        A field that the table of defaults does not know.
    OutOfRange
        A value that is not a finite number in its range, or values that contradict each other.
    """
    if not isinstance(data, Mapping):
        raise OutOfRange("the request must be an object", field="")
    for name in data:
        if name not in (*_GROUPS, *_TOP):
            raise UnknownField(f"{name} is not a part of the request", field=str(name))
    groups = {name: _group(data, name) for name in _GROUPS}
    top = {name: data[name] for name in _TOP if data.get(name) is not None}
    stops, named = _stops(groups["trip"].pop("stops", ()))
    given = {f"{group}.{name}" for group, fields in groups.items() for name in fields} | set(top) | named
    if stops or data["trip"].get("stops") is not None:
        given.add("trip.stops")
    return EstimateRequest(
        unit=Unit(box=_part("box", Box, groups["box"]), heater=_part("heater", Heater, groups["heater"]), **top),
        load=_part("load", Load, groups["load"]),
        trip=_trip(groups["trip"], stops),
        risk=_part("risk", Risk, groups["risk"]),
        given=frozenset(given),
    )


def defaults_used(given: Iterable[str]) -> tuple[str, ...]:
    """Return one line for each default that stands in for a field not `given`: name, value, unit, source."""
    have = set(given)
    lines = []
    for field in FIELDS:
        if field.name in have or field.default is REQUIRED:
            continue
        if field.name.startswith("stop.") and "stop.at_h" not in have:
            continue
        unit = "" if field.unit == "-" or field.default in (None, ()) else f" {field.unit}"
        value = "not given" if field.default is None else "none" if field.default == () else f"{field.default}"
        lines.append(f"{field.name}: {value}{unit} ({field.source})")
    return tuple(lines)


def _group(data: Mapping[str, Any], name: str) -> dict[str, Any]:
    """Return the given fields of a group, nulls left out, after checking that the table knows them."""
    group = data.get(name)
    if group is None:
        if name == "risk":
            return {}
        raise Missing(f"{name}.{_first_required(name)}")
    if not isinstance(group, Mapping):
        raise OutOfRange(f"{name} must be an object", field=name)
    return _known(name, name, group)


def _known(table: str, path: str, group: Mapping[str, Any]) -> dict[str, Any]:
    known = {field.name for field in FIELDS}
    for key in group:
        if f"{table}.{key}" not in known:
            raise UnknownField(f"{path}.{key} is not an input of the calculator", field=f"{path}.{key}")
    for field in FIELDS:
        prefix, _, key = field.name.partition(".")
        if prefix == table and field.default is REQUIRED and group.get(key) is None:
            raise Missing(f"{path}.{key}")
    return {k: v for k, v in group.items() if v is not None or f"{table}.{k}" in _NULL_MEANS}


def _first_required(group: str) -> str:
    names = [f.name for f in FIELDS if f.name.startswith(f"{group}.") and f.default is REQUIRED]
    return names[0].partition(".")[2]


def _part(name: str, kind: type[Part], fields: dict[str, Any]) -> Part:
    try:
        return kind(**fields)
    except ThermalError as error:
        error.field = error.field.replace("stop.", f"{name}.", 1) if kind is Stop else error.field
        raise


def _stops(stops: object) -> tuple[tuple[Stop, ...], set[str]]:
    if not isinstance(stops, (list, tuple)):
        raise OutOfRange("trip.stops must be a list", field="trip.stops")
    made: list[Stop] = []
    named: set[str] = set()
    for i, stop in enumerate(stops):
        path = f"trip.stops[{i}]"
        if not isinstance(stop, Mapping):
            raise OutOfRange(f"{path} must be an object", field=path)
        fields = _known("stop", path, stop)
        made.append(_part(path, Stop, fields))
        keys = {f"stop.{key}" for key in fields}
        # A default counts as used as soon as one stop needed it.
        named = keys if not made[1:] else named & keys
    return tuple(made), named


def _trip(fields: dict[str, Any], stops: tuple[Stop, ...]) -> Trip:
    return Trip(**fields, stops=stops)
