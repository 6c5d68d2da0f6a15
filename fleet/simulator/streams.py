"""From a plan to the messages of a fleet, day by day, with the truth beside them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from fleet.simulator.agenda import Habits, draw_agenda
from fleet.simulator.cloudevents import instant
from fleet.simulator.connectivity import QUALITIES, Links, Message, Quality, draw_links
from fleet.simulator.decay import Change, Decay
from fleet.simulator.errors import SimulatorError
from fleet.simulator.gateways import Gateways
from fleet.simulator.incidents import FaultEvent, Troubles, draw_troubles, failure_events
from fleet.simulator.mishaps import Mishaps, draw_changes
from fleet.simulator.network import AIR, EDGE, LINING
from fleet.simulator.quantities import Floats
from fleet.simulator.roster import Roster, draw_roster
from fleet.simulator.samples import Recorder
from fleet.simulator.sensors import draw_sensors
from fleet.simulator.tracks import Tracks
from fleet.simulator.weather import winter_series
from fleet.simulator.yard import Reliability, Yard

DAY_S, HOUR_S = 86_400, 3600
SITE_SD_K = 3.0  # how far the weather of one unit is from the common series
SECONDS = frozenset(
    {"at_s", "until_s", "back_at_s", "loading_at_s", "depart_at_s", "deliver_at_s", "arrive_at_s", "leave_at_s"}
)
"""Fields of truth records that are seconds from the start; on the way out they become times."""


@dataclass(frozen=True, slots=True)
class FleetPlan:
    """What to simulate. `start` is aware; `weather_c` is hourly, at least days * 24 + 1 values, or None."""

    units: int
    days: int
    start: datetime
    seed: int
    prefix: str = "SIM"
    numbers: tuple[str, ...] | None = None
    cadence_min: int = 5
    weather_c: Floats | None = None
    quality: Quality = QUALITIES["ordinary"]
    habits: Habits = field(default_factory=Habits)
    reliability: Reliability = field(default_factory=Reliability)
    troubles: Troubles = field(default_factory=Troubles)
    mishaps: Mishaps = field(default_factory=Mishaps)
    changes: tuple[Change, ...] = ()
    """What nobody reports, beside what `mishaps` draws."""
    percent_gauge_share: float = 0.2
    """Share of units whose gauge says per cent of the tank, not litres."""


@dataclass(frozen=True, slots=True)
class Day:
    """One day's messages in order of arrival, and the truth records that became known in it."""

    index: int
    messages: list[Message]
    truth: list[dict[str, Any]]

    @property
    def lines(self) -> list[str]:
        """The messages as JSON lines."""
        return [message.text for message in self.messages]


class FleetStream:
    """A simulated fleet. Iterate `days()` once; equal plans give equal days, byte for byte."""

    def __init__(self, plan: FleetPlan) -> None:
        check_plan(plan)
        self.plan, self.horizon_s = plan, plan.days * DAY_S
        # One stream of randomness per subject: more noise in one does not shuffle the others.
        seeds = np.random.SeedSequence(plan.seed).spawn(10)
        roster, people, sky, plant, sensing, faults, radio, tracker, roads, luck = map(np.random.default_rng, seeds)
        self.faults, self.radio = faults, radio
        self.roster: Roster = draw_roster(units=plan.units, rng=roster, prefix=plan.prefix, numbers=plan.numbers)
        self.position = {number: i for i, number in enumerate(self.roster.numbers)}
        agendas = [
            draw_agenda(
                number,
                horizon_s=self.horizon_s,
                most_kg=float(self.roster.paper(i)["max_load_kg"]),
                habits=plan.habits,
                rng=people,
            )
            for i, number in enumerate(self.roster.numbers)
        ]
        self.plans = [record for agenda in agendas for record in agenda.records]
        self.yard = Yard(
            self.roster,
            agendas,
            ambient_c=self.weather(sky),
            reliability=plan.reliability,
            rng=plant,
            tracks=Tracks(plan.units, rng=roads),
        )
        drawn = draw_changes(plan.mishaps, agendas, horizon_s=self.horizon_s, rng=luck)
        self.decay = Decay([*drawn, *plan.changes])
        self.recorder = Recorder(self.yard, cadence_min=plan.cadence_min, rng=plant)
        whole = {"units": plan.units, "horizon_s": self.horizon_s}
        self.sensors = draw_sensors(**whole, rng=sensing)
        self.pending_faults = draw_troubles(**whole, rng=faults, plan=plan.troubles)
        self.links: Links = draw_links(**whole, quality=plan.quality, rng=radio)
        self.gateways = Gateways(
            self.roster,
            start=plan.start,
            sensors=self.sensors,
            links=self.links,
            percent_share=plan.percent_gauge_share,
            rng=sensing,
            tracker_rng=tracker,
        )
        self.under_way: list[Message] = []

    def weather(self, rng: np.random.Generator) -> Floats:
        """Return the hourly ambient of every unit, shape (hours + 1, n)."""
        hours = self.plan.days * 24
        series = self.plan.weather_c
        common = winter_series(hours=hours, rng=rng) if series is None else series[: hours + 1]
        return common[:, None] + SITE_SD_K * rng.standard_normal(self.plan.units)

    def days(self) -> Iterator[Day]:
        """Yield the days one after the other; the last one brings everything that is still under way."""
        for index in range(self.plan.days):
            truth = self.opening_truth() if index == 0 else []
            truth += self.live_one_day()
            messages = self.gateways.readings(self.recorder.empty())
            messages += self.fault_messages(truth, end_s=(index + 1) * DAY_S)
            arrived = self.under_way + self.links.carry(messages, rng=self.radio)
            last = index == self.plan.days - 1
            end_s = np.inf if last else (index + 1) * DAY_S
            arrived.sort(key=lambda message: message.arrives_s)
            self.under_way = [message for message in arrived if message.arrives_s >= end_s]
            in_time = [message for message in arrived if message.arrives_s < end_s]
            yield Day(index, in_time, [self.dated(record) for record in truth])

    def live_one_day(self) -> list[dict[str, Any]]:
        """Move the yard on by a day; return its truth."""
        truth: list[dict[str, Any]] = []
        yard, end_s = self.yard, self.yard.now_s + DAY_S
        while yard.now_s < end_s:
            self.decay.strike(yard)
            yard.step()
            self.recorder.take()
            if yard.now_s % HOUR_S == 0:
                truth += self.states()
        truth += yard.records + [self.change_record(change) for change in self.decay.struck]
        yard.records, self.decay.struck = [], []
        return truth

    def change_record(self, change: Change) -> dict[str, Any]:
        """Return the truth record of something nobody reported."""
        number = self.roster.numbers[change.unit]
        return {"kind": "change", "unit": number, "at_s": change.at_s, "what": change.kind.value, "size": change.size}

    def states(self) -> list[dict[str, Any]]:
        """Return the true state of every unit now."""
        yard, temps = self.yard, self.yard.temps.round(2)
        loaded = (yard.load.mass_kg > 0).tolist()
        edge, inner = temps[EDGE].tolist(), temps[EDGE + 1 :].T.tolist()
        lining, air, ambient = temps[LINING].tolist(), temps[AIR].tolist(), yard.ambient_c.round(2).tolist()
        heat, fuel = yard.heat_w.round().tolist(), yard.supply.fuel_l.round(2).tolist()
        return [
            {
                "kind": "state",
                "unit": number,
                "at_s": yard.now_s,
                "ambient_c": ambient[i],
                "lining_c": lining[i],
                "air_c": air[i],
                "edge_c": edge[i] if loaded[i] else None,
                "inner_c": inner[i] if loaded[i] else None,
                "heat_w": heat[i],
                "fuel_l": fuel[i],
            }
            for i, number in enumerate(self.roster.numbers)
        ]

    def opening_truth(self) -> list[dict[str, Any]]:
        """Return what is true from the start: units, sensors, links, trips, slips and inspections."""
        box, heater = self.roster.box, self.roster.heater
        units = [
            {
                "kind": "unit",
                "unit": number,
                "at_s": 0,
                "model": self.roster.paper(i)["key"],
                "k_w_m2k": round(float(box.k_w_m2k[i]), 4),
                "age_y": float(box.age_y[i]),
                "output_kw": round(float(heater.output_kw[i]), 3),
                "burn_high_l_h": round(float(heater.burn_high_l_h[i]), 3),
                "failures_per_h": float(self.yard.supply.rate_per_h[i]),
            }
            for i, number in enumerate(self.roster.numbers)
        ]
        planned = [record for record in self.plans if record["at_s"] < self.horizon_s]
        numbers = self.roster.numbers
        return [
            *units,
            *self.sensors.records(numbers),
            *self.gateways.records(),
            *self.links.records(numbers),
            *planned,
        ]

    def fault_messages(self, truth: list[dict[str, Any]], *, end_s: int) -> list[Message]:
        """Return the fault events made until the end of the day; later ones stay pending."""
        for record in truth:
            if record["kind"] in {"breakdown", "out_of_fuel"}:
                unit = self.position[record["unit"]]
                self.pending_faults += failure_events(record, unit, rng=self.faults)
        self.pending_faults.sort(key=lambda event: (event.at_s, event.unit))
        due = [event for event in self.pending_faults if event.at_s < end_s]
        self.pending_faults = self.pending_faults[len(due) :]
        truth += [self.fault_record(event) for event in due]
        return [self.gateways.fault(event) for event in due]

    def fault_record(self, event: FaultEvent) -> dict[str, Any]:
        """Return the truth record of a fault event."""
        return {"kind": "fault", "unit": self.roster.numbers[event.unit], "at_s": event.at_s, **event.data}

    def dated(self, record: dict[str, Any]) -> dict[str, Any]:
        """Return a truth record with times for seconds: `at_s` becomes `at`, `back_at_s` `back_at`."""
        out: dict[str, Any] = {}
        for key, value in record.items():
            if key == "stops":
                out[key] = [self.dated(stop) for stop in value]
            elif key in SECONDS:
                out[key.removesuffix("_s")] = instant(self.plan.start, value)
            else:
                out[key] = value
        return out


def check_plan(plan: FleetPlan) -> None:
    """Refuse a plan that cannot be simulated."""
    if not 1 <= plan.days <= 400:
        raise SimulatorError(f"days: {plan.days} is outside 1..400")
    if plan.start.utcoffset() is None:
        raise SimulatorError("start: a time with its offset is required")
    if not 1 <= plan.cadence_min <= 60:
        raise SimulatorError(f"cadence: {plan.cadence_min} min is outside 1..60")
    if plan.weather_c is not None and len(plan.weather_c) <= plan.days * 24:
        raise SimulatorError(f"weather: {len(plan.weather_c)} hours given, {plan.days * 24 + 1} needed")
