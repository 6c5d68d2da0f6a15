"""What people do with a unit over the days: park, preheat, load, drive, stop, unload, and forget things."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

MINUTE = 60
PART_UNLOADED = 0.5  # share of stops with open doors at which a part of the load is left; assumption
LEAST_KG = 300.0  # what remains is worth a trip, assumption


@dataclass(frozen=True, slots=True)
class Cargo:
    """What is carried; its key is the commodity's. Set point is what the load needs."""

    commodity: str
    set_point_c: float
    low_c: float
    high_c: float
    damage_c: float
    freezes_c: float
    cp_kj_kgk: float


CARGOES: tuple[Cargo, ...] = (
    Cargo("potato", 7.0, 4.0, 12.0, -0.6, -0.6, 3.67),
    Cargo("carrot", 2.5, 0.0, 6.0, -1.4, -1.4, 3.92),
    Cargo("apple", 3.0, 0.0, 8.0, -1.1, -1.1, 3.81),
    Cargo("lettuce", 2.5, 0.5, 6.0, -0.2, -0.2, 4.09),
    # Chill takes hours below 13 degC; the limit that one moment may not pass lies lower (assumption).
    Cargo("banana", 14.0, 13.3, 17.0, 11.0, -0.8, 3.56),
    Cargo("latex-paint", 10.0, 5.0, 30.0, 0.0, 0.0, 3.6),
)


@dataclass(frozen=True, slots=True)
class Carried:
    """One load as it enters the box."""

    cargo: Cargo
    mass_kg: float
    temperature_c: float
    trip: str


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of a unit's life in which nothing is touched; seconds from the start of the simulation."""

    start_s: int
    kind: str
    unit_on: bool
    door_open: bool
    moving: bool
    set_point_c: float
    refuel: bool
    carried: Carried | None


@dataclass(frozen=True, slots=True)
class Habits:
    """How often people forget, as chances per occasion. Assumptions."""

    unit_left_off: float = 0.03
    door_left_open: float = 0.03
    set_point_not_confirmed: float = 0.04
    heater_on_with_doors_open: float = 0.1
    inspection_late: float = 0.05


@dataclass(slots=True)
class Agenda:
    """One unit's segments in order, and the records of its trips, slips and inspections."""

    unit: str
    segments: list[Segment] = field(default_factory=list)
    records: list[dict[str, Any]] = field(default_factory=list)


class Diary:
    """Writes an agenda: every call to `spend` is one segment, with the controls as they then stand."""

    def __init__(self, unit: str, *, set_point_c: float) -> None:
        self.agenda = Agenda(unit)
        self.now_s = 0
        self.unit_on = self.door_open = self.moving = False
        self.set_point_c = set_point_c
        self.carried: Carried | None = None

    def spend(self, kind: str, minutes: float, *, refuel: bool = False) -> None:
        """Let the given time pass (at least a minute)."""
        self.agenda.segments.append(
            Segment(
                start_s=self.now_s,
                kind=kind,
                unit_on=self.unit_on,
                door_open=self.door_open,
                moving=self.moving,
                set_point_c=self.set_point_c,
                refuel=refuel,
                carried=self.carried,
            )
        )
        self.now_s += max(1, round(minutes)) * MINUTE

    def note(self, kind: str, **facts: Any) -> None:
        """Put a record of this moment into the truth."""
        self.agenda.records.append({"kind": kind, "unit": self.agenda.unit, "at_s": self.now_s, **facts})


def draw_agenda(unit: str, *, horizon_s: int, most_kg: float, habits: Habits, rng: np.random.Generator) -> Agenda:
    """Return what happens to one unit until the horizon [s]."""
    diary = Diary(unit, set_point_c=CARGOES[rng.integers(len(CARGOES))].set_point_c)
    count = 0
    while diary.now_s < horizon_s:
        # A first pause of any length puts the fleet out of step with itself.
        diary.spend("parked", rng.uniform(10, 900) if count == 0 else rng.uniform(180, 1400))
        count += 1
        Trip(diary, f"{unit}-T{count:03d}", most_kg=most_kg, habits=habits, rng=rng).write()
    return diary.agenda


class Trip:
    """One trip of a unit, from preheating to the empty box."""

    def __init__(self, diary: Diary, ref: str, *, most_kg: float, habits: Habits, rng: np.random.Generator) -> None:
        self.diary, self.ref, self.habits, self.rng = diary, ref, habits, rng
        self.cargo = CARGOES[rng.integers(len(CARGOES))]
        mass = float(np.exp(rng.uniform(np.log(600.0), np.log(most_kg))))
        warm = self.cargo.set_point_c + float(rng.normal(0.5, 0.8))
        warm = min(max(warm, self.cargo.low_c + 0.5), self.cargo.high_c - 1.0)
        self.carried = Carried(self.cargo, round(mass, -1), round(warm, 1), ref)

    def forgets(self, chance: float) -> bool:
        """Return whether a person forgets this time."""
        return bool(self.rng.random() < chance)

    def write(self) -> None:
        """Write the whole trip into the diary."""
        self.prepare()
        diary, loading_s = self.diary, self.diary.now_s
        self.load()
        departs_s = diary.now_s
        stops = [self.stop() for _ in range(int(self.rng.integers(0, 4)))]
        self.drive()
        diary.note(
            "trip",
            reference=self.ref,
            loading_at_s=loading_s,
            depart_at_s=departs_s,
            deliver_at_s=diary.now_s,
            load={
                "commodity": self.cargo.commodity,
                "mass_kg": self.carried.mass_kg,
                "temperature_c": self.carried.temperature_c,
                "set_point_c": self.cargo.set_point_c,
                "low_c": self.cargo.low_c,
                "high_c": self.cargo.high_c,
                "damage_c": self.cargo.damage_c,
            },
            stops=stops,
        )
        self.unload()

    def prepare(self) -> None:
        """Set the set point (or not), inspect (in time or not), refuel and preheat."""
        diary = self.diary
        if self.forgets(self.habits.set_point_not_confirmed):
            diary.note(
                "slip",
                slip="set_point_not_confirmed",
                wanted_c=self.cargo.set_point_c,
                left_at_c=diary.set_point_c,
            )
        else:
            diary.set_point_c = self.cargo.set_point_c
        late = self.forgets(self.habits.inspection_late)
        diary.note("inspection", trip=self.ref, late=late)
        diary.unit_on = True
        diary.spend("preheat", self.rng.uniform(45, 180), refuel=bool(self.rng.random() < 0.7))

    def load(self) -> None:
        """Open the doors, bring the load in halfway through, shut them."""
        diary = self.diary
        diary.unit_on = self.forgets(self.habits.heater_on_with_doors_open)
        if diary.unit_on:
            diary.note("slip", slip="heater_on_with_doors_open")
        diary.door_open = True
        minutes = self.rng.uniform(15, 40)
        diary.spend("loading", minutes)
        diary.carried = self.carried
        diary.spend("loading", minutes)
        self.set_off()

    def set_off(self) -> None:
        """Shut the doors and switch the unit on: two things that can be forgotten."""
        diary = self.diary
        if self.forgets(self.habits.door_left_open):
            diary.note("slip", slip="door_left_open")
            diary.spend("waiting", self.rng.uniform(20, 90))
        diary.door_open = False
        diary.moving = True
        if self.forgets(self.habits.unit_left_off):
            diary.unit_on = False
            diary.note("slip", slip="unit_left_off")
            diary.spend("driving", self.rng.uniform(50, 360))
        diary.unit_on = True

    def drive(self) -> None:
        """Drive one leg."""
        self.diary.moving = True
        self.diary.spend("driving", self.rng.uniform(60, 420))
        self.diary.moving = False

    def stop(self) -> dict[str, Any]:
        """Drive a leg and make a stop, with open doors or only for fuel; return what the plan says of it."""
        self.drive()
        diary, arrive_s = self.diary, self.diary.now_s
        refuel = bool(self.rng.random() < 0.35)
        opens = bool(self.rng.random() < 0.7)
        minutes = self.rng.uniform(10, 35)
        diary.unit_on, diary.door_open = not opens, opens
        diary.spend("stop", minutes, refuel=refuel)
        unload_kg = self.leave_a_part() if opens else 0.0
        if unload_kg:
            diary.spend("stop", self.rng.uniform(2, 10))
        shuts_s = diary.now_s
        diary.door_open = False
        diary.unit_on = True
        diary.spend("stop", self.rng.uniform(5, 25))
        leave_s = diary.now_s
        self.set_off()
        return {
            "arrive_at_s": arrive_s,
            "leave_at_s": leave_s,
            "door_open_min": (shuts_s - arrive_s) // MINUTE if opens else 0,
            "refuel": refuel,
            "unload_kg": unload_kg,
        }

    def leave_a_part(self) -> float:
        """Take a part of the load out, now and then; return how much [kg]."""
        carried = self.diary.carried
        if carried is None or self.rng.random() >= PART_UNLOADED:
            return 0.0
        unload_kg = round(carried.mass_kg * float(self.rng.uniform(0.15, 0.6)), -1)
        if carried.mass_kg - unload_kg < LEAST_KG:
            return 0.0
        self.diary.carried = replace(carried, mass_kg=carried.mass_kg - unload_kg)
        return unload_kg

    def unload(self) -> None:
        """Take the load out and leave the box, off and shut."""
        diary = self.diary
        diary.unit_on, diary.door_open = False, True
        diary.spend("unloading", self.rng.uniform(20, 60))
        diary.carried = None
        diary.spend("unloading", self.rng.uniform(5, 15))
        diary.door_open = False
