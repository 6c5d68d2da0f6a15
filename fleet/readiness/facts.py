"""Everything a check may read about one trip and one unit, as frozen values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any

import msgspec

from fleet.measured import LAST_ON, Measured, read_measured
from fleet.models import Phase, Trip, Unit, UnitModel, UnitState
from fleet.policy import Policy


@lru_cache(maxsize=8192)
def instant(text: str) -> datetime:
    """A stored RFC 3339 text as an aware datetime in UTC."""
    return datetime.fromisoformat(text).astimezone(UTC)


ON_TIME = timedelta()


class Known(msgspec.Struct, frozen=True, gc=False):
    """A value with the time it was true and who said so."""

    value: Any
    at: datetime
    source: str

    def age(self, now: datetime) -> timedelta:
        return now - self.at


@dataclass(frozen=True, slots=True)
class LoadFacts:
    """One load of a trip with its limits as resolved when the trip was written."""

    commodity: str
    mass_kg: float
    temperature_c: float | None
    set_point_c: float | None
    low_c: float | None
    high_c: float | None
    damage_c: float | None
    freezes_c: float | None
    cp_kj_kgk: float | None
    latent_kj_kg: float | None
    respiration_w_kg: float
    no_heat_needed: bool

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> LoadFacts:
        values: dict[str, Any] = {item.name: document.get(item.name) for item in fields(cls)}
        return cls(**values)


@dataclass(frozen=True, slots=True)
class StopFacts:
    """One place on the trip."""

    place: str
    arrive_at: datetime
    leave_at: datetime | None
    door_open_min: float
    heater_off: bool
    refuel: bool

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> StopFacts:
        leave_at = document.get("leave_at")
        return cls(
            place=document["place"],
            arrive_at=instant(document["arrive_at"]),
            leave_at=instant(leave_at) if leave_at else None,
            door_open_min=document.get("door_open_min") or 0.0,
            heater_off=bool(document.get("heater_off")),
            refuel=bool(document.get("refuel")),
        )


@dataclass(frozen=True, slots=True, eq=False)
class TripFacts:
    """One trip as checks see it. Equal only to itself: what follows from a trip is remembered under the very value."""

    id: int
    reference: str
    phase: Phase
    loading_at: datetime
    depart_at: datetime
    arrive_at: datetime
    departed_at: datetime | None
    loads: tuple[LoadFacts, ...]
    stops: tuple[StopFacts, ...]
    ambient: tuple[tuple[datetime, float], ...]
    ambient_issued_at: datetime | None
    help_median_h: float | None
    help_p90_h: float | None
    set_point_changed_at: datetime | None
    version: int
    ambient_version: int
    needs_heat: bool = field(init=False)
    """False only for dry goods and goods marked as needing no heat: anything else has limits or is unknown."""
    set_point_c: float | None = field(init=False)
    low_c: float | None = field(init=False)
    """Highest lower end of the agreed ranges; None when a load that needs heat has none."""
    high_c: float | None = field(init=False)
    damage_c: float | None = field(init=False)

    @classmethod
    def from_row(cls, trip: Trip) -> TripFacts:
        return cls(
            id=trip.pk or 0,
            reference=trip.reference,
            phase=Phase.UNDER_WAY if trip.state == Trip.State.UNDER_WAY else Phase.PLANNED,
            loading_at=trip.loading_at,
            depart_at=trip.depart_at,
            arrive_at=trip.arrive_at,
            departed_at=trip.departed_at,
            loads=tuple(LoadFacts.from_document(load) for load in trip.loads),
            stops=tuple(StopFacts.from_document(stop) for stop in trip.stops),
            ambient=tuple((instant(at), float(temp)) for at, temp in trip.ambient),
            ambient_issued_at=trip.ambient_issued_at,
            help_median_h=trip.help_median_h,
            help_p90_h=trip.help_p90_h,
            set_point_changed_at=trip.set_point_changed_at,
            version=trip.version,
            ambient_version=trip.ambient_version,
        )

    def __post_init__(self) -> None:
        points = [load.set_point_c for load in self.loads if load.set_point_c is not None]
        derived = {
            "needs_heat": any(not load.no_heat_needed for load in self.loads),
            "set_point_c": points[0] if points else None,
            "low_c": self._governing("low_c", max),
            "high_c": self._governing("high_c", min),
            "damage_c": self._governing("damage_c", max),
        }
        for name, value in derived.items():
            object.__setattr__(self, name, value)

    def _governing(self, name: str, pick: Any) -> float | None:
        limits = [getattr(load, name) for load in self.loads if not load.no_heat_needed]
        return None if not limits or None in limits else float(pick(limits))

    def starts_at(self, now: datetime) -> datetime:
        """From when the trip is forecast: its departure, or now when it is under way or overdue."""
        return now if self.phase is Phase.UNDER_WAY else max(self.depart_at, now)

    def delay(self, now: datetime) -> timedelta:
        """How late the trip leaves or has left: stops and arrival are expected that much later."""
        left_at = self.departed_at if self.phase is Phase.UNDER_WAY and self.departed_at else now
        return max(left_at - self.depart_at, ON_TIME)

    def expected_at(self, now: datetime) -> datetime:
        """When it is expected at its last stop."""
        return self.arrive_at + self.delay(now)


class Design(dict[str, float | None]):
    """The design data of a unit model by name. Equal only to itself, as a trip is: units of one model share it, and
    what follows from it is remembered under the very value."""

    __slots__ = ()
    __hash__ = object.__hash__  # type: ignore[assignment]

    def __eq__(self, other: object) -> bool:
        return self is other


class UnitFacts(msgspec.Struct, frozen=True, gc=False):
    """One unit as checks see it: design data, newest values, and what other apps contributed."""

    id: int
    number: str
    in_service: bool
    built_on: date | None
    k_test_w_m2k: float | None
    k_tested_on: date | None
    serviced_at_h: float | None
    serviced_on: date | None
    design: Design
    values: Mapping[str, Known]
    facts: Mapping[str, Known]
    newest_at: datetime | None
    version: int
    model_version: int

    @classmethod
    def from_rows(cls, unit: Unit, model: UnitModel, state: UnitState) -> UnitFacts:
        row = [getattr(unit, name) for name in UNIT_COLUMNS] + [getattr(state, name) for name in STATE_COLUMNS]
        return cls.from_columns(row, model)

    @classmethod
    def from_columns(cls, row: Sequence[Any], model: UnitModel) -> UnitFacts:
        """The facts of a row of UNIT_COLUMNS and STATE_COLUMNS: of many units without a model instance for each.

        The unit facts among them may still be the text of their document.
        """
        pk, number, service, built_on, k_test, k_tested_on, serviced_at_h, serviced_on, *state = row
        newest, rest, facts, newest_at, version = state
        values, told = _measured(read_measured(newest, rest))
        return cls(
            id=pk,
            number=number,
            in_service=service == Unit.Service.IN_SERVICE,
            built_on=built_on,
            k_test_w_m2k=k_test,
            k_tested_on=k_tested_on,
            serviced_at_h=serviced_at_h,
            serviced_on=serviced_on,
            design=_design(model),
            values=values,
            facts=_known(msgspec.json.decode(facts) if isinstance(facts, str) else facts) | told,
            newest_at=newest_at,
            version=version,
            model_version=model.version,
        )


UNIT_COLUMNS = (
    "pk", "number", "service", "built_on", "k_test_w_m2k", "k_tested_on", "serviced_at_h", "serviced_on",
)  # fmt: skip
STATE_COLUMNS = ("newest", "measured", "facts", "newest_at", "version")
DESIGN_FIELDS: tuple[str, ...] = tuple(
    item.name for item in UnitModel._meta.get_fields() if getattr(item, "get_internal_type", str)() == "FloatField"
)


def _design(model: UnitModel) -> Design:
    """The design data of a model, made once for all units that share its row in memory."""
    known: Design | None = model.__dict__.get("_design")
    if known is None:
        known = Design({name: getattr(model, name) for name in DESIGN_FIELDS})
        model.__dict__["_design"] = known
    return known


def _known(document: Mapping[str, Sequence[Any]]) -> dict[str, Known]:
    return {name: Known(value, instant(at), source) for name, (value, at, source) in document.items()}


def _measured(document: Measured) -> tuple[dict[str, Known], dict[str, Known]]:
    """The measured values, and the facts that readings tell besides them."""
    values = {
        name: Known(value, group.at, group.source) for group in document.newest for name, value in group.values.items()
    }
    told = {name: Known(first.value, first.at, first.source) for name, first in document.oldest.items()}
    if LAST_ON in values:
        told[LAST_ON] = values.pop(LAST_ON)
    return values, told


class Facts(msgspec.Struct, frozen=True, gc=False):
    """One trip, one unit, one policy: what a check gets."""

    fleet_id: int
    trip: TripFacts
    unit: UnitFacts
    policy: Policy

    @property
    def versions(self) -> str:
        """The vector of versions an answer was made from; an answer is current while all of them are."""
        return version_vector(
            trip=self.trip.version,
            unit=self.unit.version,
            model=self.unit.model_version,
            policy=self.policy.version,
            forecast=self.trip.ambient_version,
        )


def version_vector(*, trip: int, unit: int, model: int, policy: int, forecast: int) -> str:
    return f"t{trip}.u{unit}.m{model}.p{policy}.f{forecast}"
