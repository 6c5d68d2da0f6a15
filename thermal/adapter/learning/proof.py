"""Learning held against simulated fleets whose truth is known, and that nobody tuned on.

Tuning used seeds below 100, made-up winters and the Northway winter of 2019. Proof uses seeds from 7000 on, typical
winters (and one made-up mild one), and boxes whose films, lining, contact and motion differ half as much again from the
defaults. The simulator shares no code with `thermal`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fleet.simulator.decay import Change, Kind
from fleet.simulator.histories import History, HistoryPlan, histories
from fleet.simulator.weather_file import read_weather
from fleet.simulator.yard import Reliability
from thermal import Box, Heater, Unit
from thermal.adapter.designs import BOX_FIELDS, HEATER_FIELDS
from thermal.health.change import Cause
from thermal.health.condition import Condition, Reference, condition_of
from thermal.health.day import AFTER_S, BEFORE_S, DAY_S, Day, learn_day
from thermal.health.readings import Plant, Readings, plant_of
from thermal.health.strength import rise_of
from thermal.health.tank import EventKind
from thermal.health.watch import HeatWatch, Level
from thermal.ranges import Array

ROUGH = 1.5
SD_DESIGN = 0.15
UPTO_DAYS = (1, 3, 7, 14)
NEVER = Reliability(failures_per_h=1e-9)
LOST_H = 12.0
LOW_BELOW_SET_K, LOW_FOR_S = 4.0, 1800.0
"""The plain rule learning is compared with: air 4 K below the set point for half an hour, unit on, doors shut."""
BACK_S = 3600.0


@dataclass(frozen=True, slots=True)
class Climate:
    """A winter to prove in: a file of the fixtures from an hour on, or a made-up mean."""

    name: str
    file: str | None = None
    first_h: int = 0
    mean_c: float = -14.0

    def plan(self, fixtures: Path, **given: object) -> HistoryPlan:
        """A plan in this winter."""
        days = int(given["days"])  # type: ignore[call-overload]
        weather = None
        if self.file is not None:
            lines = (fixtures / self.file).read_text().splitlines()
            weather = read_weather(lines, hours=days * 24, first=self.first_h)
        return HistoryPlan(weather_c=weather, mean_c=self.mean_c, rough=ROUGH, **given)  # type: ignore[arg-type]


SEVERE = Climate("Northway, January of a typical year", "northway-tmy3.csv", 0)
COLD = Climate("O'Hare, January of a typical year", "ohare-tmy3.csv", 0)
MILD = Climate("made-up, mean +1 °C", mean_c=1.0)
CLIMATES = (SEVERE, COLD, MILD)


@dataclass(slots=True)
class Proof:
    """Everything the tables and plots are made from."""

    errors: dict[tuple[str, int], list[tuple[float, float, float, float]]] = field(default_factory=dict)
    """(climate, days): ln error and stated sd of heat lost over heat given, and of K."""
    asked: dict[str, int] = field(default_factory=dict)
    unit_days: dict[str, float] = field(default_factory=dict)
    false: dict[tuple[str, str], int] = field(default_factory=dict)
    delays: dict[str, list[tuple[float, float, float]]] = field(default_factory=dict)
    """Per climate: minutes from the loss to attend, to stop, to the plain rule; inf for never."""
    tank: dict[tuple[str, str], int] = field(default_factory=dict)
    burn: list[tuple[float, float]] = field(default_factory=list)
    changes: dict[str, list[tuple[float, str]]] = field(default_factory=dict)
    """Per true change: days until found (inf: never) and what it was taken for."""
    quiet_days: float = 0.0
    false_changes: int = 0


def without_doors(climate: Climate) -> str:
    """What the same units in this winter are called when their doors report nothing."""
    return f"{climate.name}, no door sensors"


def readings_of(history: History, *, door: bool = True) -> Readings:
    """The columns of a history as learning takes them."""
    columns, flags = history.columns, history.flags
    names = ("return_air_c", "discharge_air_c", "ambient_c", "set_point_c", "cargo_c", "fuel_l", "speed_km_h")
    return Readings(
        at_s=history.at_s,
        engine_h=columns["engine_hours_h"],
        running=flags["heater_running"].astype(float),
        on=flags["unit_on"].astype(float),
        door=flags["door_open"].astype(float) if door else np.full(len(history.at_s), np.nan),
        **{name: columns[name] for name in names},
    )


def plant_of_history(history: History) -> Plant:
    """The plant of a history's design, new."""
    paper = history.paper
    return plant_of(
        Unit(
            box=Box(**{ours: paper[name] for name, ours in BOX_FIELDS.items() if name in paper}),
            heater=Heater(**{ours: paper[name] for name, ours in HEATER_FIELDS.items() if name in paper}),
        )
    )


def learned(history: History, *, days: int) -> tuple[list[Day], Plant, Reference]:
    """All days of a history, learned, with what was known before."""
    readings, plant = readings_of(history), plant_of_history(history)
    out = [
        learn_day(readings.between(d * DAY_S - BEFORE_S, (d + 1) * DAY_S + AFTER_S), plant, number=d, start_s=d * DAY_S)
        for d in range(days)
    ]
    ageing = 1 + min(0.4, history.paper["ageing_per_y"] * history.age_y)
    return out, plant, Reference(plant.k_w_m2k * ageing, SD_DESIGN, "design")


Step = tuple[str, Callable[[Proof], None]]


def steps(fixtures: Path, *, units: int) -> Iterator[Step]:
    """The parts of the proof, in order; each adds to the same `Proof`."""
    for i, climate in enumerate(CLIMATES):
        yield f"K, {climate.name}", partial(_prove_k, climate=climate, fixtures=fixtures, units=units, seed=7100 + i)
    for i, climate in enumerate(CLIMATES):
        for j in (0, 1):
            seed = 7200 + 10 * i + j
            watched = partial(_prove_watch, climate=climate, fixtures=fixtures, units=units, seed=seed)
            yield f"heat watch, {climate.name}", watched
    yield "tank", partial(_prove_tank, fixtures=fixtures, units=units)
    yield "changes", partial(_prove_changes, fixtures=fixtures, units=units)


def _prove_k(proof: Proof, *, climate: Climate, fixtures: Path, units: int, seed: int) -> None:
    days = UPTO_DAYS[-1]
    for history in histories(climate.plan(fixtures, units=units, days=days, seed=seed)):
        told, plant, reference = learned(history, days=days)
        k_true = float(history.k_w_m2k[0])
        balance = k_true / reference.k_w_m2k / (float(history.heat_kw[0]) * 1e3 / plant.heat_w)
        for upto in UPTO_DAYS:
            proof.asked[climate.name] = proof.asked.get(climate.name, 0) + (upto == days)
            found = condition_of(told[:upto], plant, reference)
            if found.ratio is None or found.k is None or (upto > 1 and not found.enough) or not found.hours:
                continue
            proof.errors.setdefault((climate.name, upto), []).append(
                (
                    math.log(found.ratio.mean / balance), found.ratio.sd_ln,
                    math.log(found.k.mean / k_true), found.k.sd_ln,
                )
            )  # fmt: skip


def _prove_watch(proof: Proof, *, climate: Climate, fixtures: Path, units: int, seed: int) -> None:
    """Half of the units lose their heat once in silence. A second look, without door sensors, counts under its name."""
    days = 14
    rng = np.random.default_rng(seed)
    changes = [Change(unit, int(rng.uniform(2, days - 1) * DAY_S), Kind.SILENCE, LOST_H) for unit in range(0, units, 2)]
    plan = climate.plan(fixtures, units=units, days=days, seed=seed, changes=changes, reliability=NEVER)
    for history in histories(plan):
        plant = plant_of_history(history)
        rise = _learned_rise(history, plant)
        for door in (True, False):
            name = climate.name if door else without_doors(climate)
            _watch_one(proof, name, history, HeatWatch(plant, rise), readings_of(history, door=door))


def _learned_rise(history: History, plant: Plant) -> float | None:
    """The rise at full fire as the first two days teach it."""
    readings = readings_of(history)
    days = [learn_day(readings.between(0, 3 * DAY_S), plant, number=d, start_s=d * DAY_S).rise for d in (0, 1)]
    found = rise_of(days)
    return None if found is None else found[0]


def _watch_one(proof: Proof, name: str, history: History, watch: HeatWatch, readings: Readings) -> None:
    states = watch.run(readings)
    at_s = readings.at_s
    lost = [(c.at_s, c.at_s + c.size * 3600.0) for c in history.changes if c.kind is Kind.SILENCE]
    dry = [(r["at_s"], r["back_at_s"]) for r in history.truth if r["kind"] == "out_of_fuel"]
    cold = np.zeros(len(at_s), dtype=np.bool_)
    for start, end in [*lost, *dry]:
        cold |= (at_s >= start) & (at_s <= end + BACK_S)
    proof.unit_days[name] = proof.unit_days.get(name, 0.0) + float(np.sum(~cold)) / len(at_s) * at_s[-1] / DAY_S
    for kind, said in (
        ("attend", [state.level is not Level.QUIET for state in states]),
        ("stop", [state.level is Level.STOP for state in states]),
        ("not called", [state.not_called for state in states]),
    ):
        flags = np.array(said)
        rises = flags & ~np.concatenate([[False], flags[:-1]])
        proof.false[name, kind] = proof.false.get((name, kind), 0) + int(np.sum(rises & ~cold))
    for start, end in lost:
        inside = (at_s > start) & (at_s < end)
        attend = np.array([state.level is not Level.QUIET for state in states]) & inside
        stop = np.array([state.level is Level.STOP for state in states]) & inside
        proof.delays.setdefault(name, []).append(
            (_minutes(at_s, attend, start), _minutes(at_s, stop, start), _plain_minutes(readings, start, end))
        )


def _minutes(at_s: Array, flags: NDArray[np.bool_], start: float) -> float:
    first = np.flatnonzero(flags)
    return math.inf if len(first) == 0 else float(at_s[first[0]] - start) / 60.0


def _plain_minutes(readings: Readings, start: float, end: float) -> float:
    low = readings.return_air_c < readings.set_point_c - LOW_BELOW_SET_K
    low &= (readings.on == 1) & (readings.door == 0) if np.isfinite(readings.door).any() else readings.on == 1
    since = math.nan
    for at, is_low in zip(readings.at_s.tolist(), low.tolist(), strict=True):
        if at <= start or at >= end:
            continue
        since = (at if math.isnan(since) else since) if is_low else math.nan
        if at - since >= LOW_FOR_S:
            return float(at - start) / 60.0
    return math.inf


def _prove_tank(proof: Proof, *, fixtures: Path, units: int) -> None:
    days, seed = 14, 7401
    rng = np.random.default_rng(seed)
    changes = [
        Change(unit, int(rng.uniform(1, days - 1) * DAY_S), Kind.DRAIN, float(rng.uniform(8.0, 60.0)))
        for unit in range(units)
    ]
    drift = {unit: float(rng.normal(0.0, 0.5)) for unit in range(0, units, 4)}
    plan = COLD.plan(fixtures, units=units, days=days, seed=seed, changes=changes, gauge_drift=drift)
    for history in histories(plan):
        told, plant, reference = learned(history, days=days)
        if not np.isfinite(history.columns["fuel_l"]).any():
            continue
        found = condition_of(told, plant, reference)
        if found.burn is not None:
            truth = float(history.burn_l_h[0]) / plant.burn_l_h
            proof.burn.append((math.log(found.burn.mean / truth), found.burn.sd_ln))
        drops = [event for day in told for event in day.tank.events if event.kind is EventKind.DROP]
        for change in history.changes:
            hits = [event for event in drops if event.after_s - 1800 <= change.at_s <= event.before_s + 1800]
            size = "taken, 8-15 L" if change.size < 15 else "taken, 15-60 L"
            _count(proof.tank, size, "called taken" if hits else "called use or fill")
            drops = [event for event in drops if event not in hits]
        _count(proof.tank, "use, fills, stuck and drifting gauges", "called taken", len(drops))
        calm = sum(1 for day in told if not any(e.before_s and e in drops for e in day.tank.events))
        _count(proof.tank, "use, fills, stuck and drifting gauges", "called use or fill", calm)


def _count(table: dict[tuple[str, str], int], row: str, column: str, n: int = 1) -> None:
    table[row, column] = table.get((row, column), 0) + n


TRUE_CHANGES = (
    ("box loses 1.35 times as much", Kind.SHELL, 1.35),
    ("box loses 1.2 times as much", Kind.SHELL, 1.2),
    ("heater gives 0.75 of its heat", Kind.OUTPUT, 0.75),
)


def _prove_changes(proof: Proof, *, fixtures: Path, units: int) -> None:
    days, at_day, seed = 28, 14, 7501
    kinds = [*TRUE_CHANGES, None]
    changes = [
        Change(unit, int(at_day * DAY_S + 997 * unit), kind[1], kind[2])
        for unit in range(units)
        if (kind := kinds[unit % len(kinds)]) is not None
    ]
    for history in histories(SEVERE.plan(fixtures, units=units, days=days, seed=seed, changes=changes)):
        told, plant, reference = learned(history, days=days)
        true = next((c for c in history.changes if c.kind in (Kind.SHELL, Kind.OUTPUT)), None)
        conditions = {upto: condition_of(told[:upto], plant, reference) for upto in range(6, days + 1)}
        first = next((upto for upto, found in conditions.items() if found.change is not None), None)
        quiet = days if true is None else at_day
        proof.quiet_days += quiet
        if first is not None and first <= quiet:
            proof.false_changes += 1
        elif true is not None:
            name = next(words for words, kind, size in TRUE_CHANGES if (kind, size) == (true.kind, true.size))
            taken = _taken_for(conditions, first)
            delay = math.inf if first is None else float(first - true.at_s / DAY_S)
            proof.changes.setdefault(name, []).append((delay, taken))


def _taken_for(conditions: dict[int, Condition], first: int | None) -> str:
    if first is None:
        return "not found"
    settled = conditions[min(first + 4, max(conditions))].change
    return str(settled.cause if settled is not None else Cause.EITHER)
