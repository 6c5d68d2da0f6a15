"""Long histories of units as arrays: what their sensors show, and the truth, without messages in between.

For proofs of learning. The same yard, people and sensors as the streams; links are left out, because late and repeated
messages end in the same rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fleet.simulator.agenda import Habits, draw_agenda
from fleet.simulator.decay import Change, Decay
from fleet.simulator.quantities import Bools, Floats
from fleet.simulator.roster import SHARED, Roster, draw_roster
from fleet.simulator.samples import FAN_RISE_K, FLAGS, MEASURED, Recorder
from fleet.simulator.sensors import draw_sensors
from fleet.simulator.weather import winter_series
from fleet.simulator.yard import Reliability, Yard

DAY_S = 86_400
SITE_SD_K = 3.0


@dataclass(frozen=True, slots=True)
class HistoryPlan:
    """What to simulate. `rough`: how far inner films, lining, load and motion are from the documented defaults."""

    units: int
    days: int
    seed: int
    mean_c: float = -14.0
    weather_c: Floats | None = None
    cadence_min: int = 5
    reliability: Reliability = field(default_factory=Reliability)
    habits: Habits = field(default_factory=Habits)
    changes: Sequence[Change] = ()
    rough: float = 1.0
    gauge_drift: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class History:
    """One unit: design data, readings as columns in order of time (NaN: not measured), and what was true.

    `columns` has the names of `MEASURED`, `flags` those of `FLAGS`. `truth` is the yard's records of this unit;
    `k_w_m2k` [W/m2K] is the heat its standing box lost per kelvin and area at the end of each day, age included;
    `heat_kw` the heat its heater could give then, `burn_l_h` its fuel at full fire.
    """

    number: str
    paper: dict[str, Any]
    age_y: float
    at_s: Floats
    columns: dict[str, Floats]
    flags: dict[str, Bools]
    truth: list[dict[str, Any]]
    trips: list[dict[str, Any]]
    k_w_m2k: Floats
    heat_kw: Floats
    burn_l_h: Floats
    changes: tuple[Change, ...]
    stuck: list[tuple[str, float, float]]
    gauge_drift_l_day: float
    fan_w_k: float


def histories(plan: HistoryPlan) -> list[History]:
    """Return the histories of a fleet; equal plans give equal histories."""
    seeds = np.random.SeedSequence(plan.seed).spawn(7)
    build, people, sky, plant, sensing, reading, rough = map(np.random.default_rng, seeds)
    horizon_s = plan.days * DAY_S
    roster = _roughened(draw_roster(units=plan.units, rng=build, prefix="LRN"), plan.rough, rough)
    agendas = [
        draw_agenda(
            number,
            horizon_s=horizon_s,
            most_kg=float(roster.paper(i)["max_load_kg"]),
            habits=plan.habits,
            rng=people,
        )
        for i, number in enumerate(roster.numbers)
    ]
    hours = plan.days * 24
    series = plan.weather_c
    common = winter_series(hours=hours, rng=sky, mean_c=plan.mean_c) if series is None else series[: hours + 1]
    ambient = common[:, None] + SITE_SD_K * sky.standard_normal(plan.units)
    yard = Yard(roster, agendas, ambient_c=ambient, reliability=plan.reliability, rng=plant)
    recorder = Recorder(yard, cadence_min=plan.cadence_min, rng=plant)
    sensors = draw_sensors(units=plan.units, horizon_s=horizon_s, rng=sensing)
    for unit, per_day in plan.gauge_drift.items():
        sensors.drift_per_day[MEASURED.index("fuel_l"), unit] = per_day
    fan = yard.thermostat.high_w / FAN_RISE_K
    decay, by_day = Decay(plan.changes), []
    while yard.now_s < horizon_s:
        decay.strike(yard)
        yard.step()
        recorder.take()
        if yard.now_s % DAY_S == 0:
            by_day.append(_standing(yard))
    samples = recorder.empty()
    shown = sensors.read(samples, rng=reading)
    true_by_day = np.array(by_day)
    found = []
    for i, number in enumerate(roster.numbers):
        own = samples.unit == i
        found.append(
            History(
                number=number,
                paper={**SHARED, **roster.paper(i)},
                age_y=float(roster.age_y[i]),
                at_s=samples.at_s[own].astype(float),
                columns=dict(zip(MEASURED, shown[:, own], strict=True)),
                flags=dict(zip(FLAGS, samples.flags[:, own], strict=True)),
                truth=[record for record in yard.records if record["unit"] == number],
                trips=[record for record in agendas[i].records if record["kind"] == "trip"],
                k_w_m2k=true_by_day[:, 0, i],
                heat_kw=true_by_day[:, 1, i],
                burn_l_h=true_by_day[:, 2, i],
                changes=tuple(change for change in decay.struck if change.unit == i),
                stuck=[(s.field, s.start_s, s.end_s) for s in sensors.stuck if s.unit == i],
                gauge_drift_l_day=float(sensors.drift_per_day[MEASURED.index("fuel_l"), i]),
                fan_w_k=float(fan[i]),
            )
        )
    return found


def _standing(yard: Yard) -> tuple[Floats, Floats, Floats]:
    """Return heat lost per kelvin and area of the standing boxes, output [kW] and burn [L/h] at full fire, now."""
    box = yard.box
    ageing = np.minimum(1.0 + box.ageing_per_y * box.age_y, 1.4)
    return box.k_w_m2k * ageing, yard.thermostat.high_w / 1e3, yard.supply.high_l_s * 3600.0


def _roughened(roster: Roster, size: float, rng: np.random.Generator) -> Roster:
    """Return the fleet with boxes that differ also in what no paper states (lognormal; sds are assumptions)."""
    spreads = {"lining_kj_m2k": 0.2, "lining_film_w_m2k": 0.12, "contact_share": 0.3, "moving_factor": 0.03}
    box = replace(
        roster.box,
        **{
            name: getattr(roster.box, name) * np.exp(size * sd * rng.standard_normal(len(roster)))
            for name, sd in spreads.items()
        },
    )
    return replace(roster, box=box)
