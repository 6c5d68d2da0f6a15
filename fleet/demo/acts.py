"""The acts of the story: each posts what a person or a gateway would, and shows what the service makes of it."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any

from fleet.demo.scene import inspect, observations, post_present_readings, record_loading, sheet_of
from fleet.demo.stage import Stage, first_reason
from fleet.readiness.findings import score_in_words

FAULT = "coolant-hot-2"
WORK_DONE = "Level was low: hose clamp tightened, topped up, circuit bled, ran 20 minutes without loss."
REPAIR_DONE = "New drive belt fitted and tensioned, guard refitted."


def evening(stage: Stage) -> None:
    """Eight units report; eight trips are assessed."""
    stage.teller.act(1, "The yard in the evening: eight units report, eight trips are asked about")
    count = post_present_readings(stage)
    stage.teller.line("gateway", f"posts {count} readings in one batch")
    rows = []
    for reference, trip in stage.scenario.trips.items():
        answer, load = stage.readiness(reference), trip["load"]
        goods = load["commodity"] if load is not None else "dry goods"
        leaves = f"{trip['depart_min'] / 60:.1f} h"
        reason = _reason_words(first_reason(answer))
        rows.append((reference, answer["unit"], goods, leaves, answer["verdict"], reason))
    stage.teller.table("", ("trip", "unit", "load", "leaves in", "verdict", "first reason"), rows)
    stage.pause(4)


def fault(stage: Stage) -> None:
    """A stop-tier fault: the trip is held, somebody hears of it, and the gate stays shut."""
    reference, number = "T-402", "HB-102"
    stage.teller.act(2, f"A fault: {number} is to leave with {reference} in a little more than an hour")
    since_s = time.monotonic()
    stage.post_fault(number, FAULT, "raised")
    stage.teller.line("gateway", f"posts {FAULT} of {number}")
    stage.until(f"a hold on {reference}", lambda: stage.hold_of(reference, "open"))
    _show(stage, reference, stage.readiness(reference))
    _await_message(stage, number, "email", since_s=since_s)
    _await_message(stage, number, "webhook", since_s=since_s)
    refusal = stage.cast.dispatcher.ask(
        "PUT", f"trips/{reference}/assignment/", {"unit": number}, expect=(409,), tag="*"
    ).body
    stage.teller.line("planning", f"tries to assign {number} all the same")
    stage.teller.verdict("", "blocked", f"409 {refusal['type'].strip('/').rsplit('/', 1)[-1]}: {refusal['title']}")
    stage.pause(3)


def failed_inspection(stage: Stage) -> None:
    """The inspector finds a defect that blocks."""
    reference, number = "T-403", "HB-103"
    stage.teller.act(3, f"A failed inspection: Ida walks round {number} once more")
    since_s = time.monotonic()
    inspect(stage, number, sheet_of(stage, "pre-trip"), defects={"belt": "Two ribs missing, cords show."})
    stage.teller.line("Ida", "signs: belt, two ribs missing, cords show")
    stage.until(f"a hold on {reference}", lambda: stage.hold_of(reference, "open"))
    _show(stage, reference, stage.readiness(reference))
    _await_message(stage, number, "email", since_s=since_s)
    stage.pause(3)


def weak_unit(stage: Stage) -> None:
    """The planned unit is too weak for the night; another one is strong enough."""
    reference = "T-404"
    stage.teller.act(4, "Three more that may not leave as they are: too weak for the night, short of fuel, left off")
    _show(stage, reference, stage.readiness(reference))
    ranked = stage.cast.dispatcher.post(f"trips/{reference}/candidates/", {"units": None})["candidates"]
    best = ranked[0]
    stage.teller.line("planning", f"asks for a ranking: {best['unit']} is best of {len(ranked)}")
    stage.cast.dispatcher.ask("PATCH", f"trips/{reference}/", {"planned_unit": best["unit"]}, tag="*")
    _show(stage, reference, stage.readiness(reference))
    stage.pause(2)


def short_of_fuel(stage: Stage) -> None:
    """The answer says how many litres mend it; they do."""
    reference, number = "T-405", "HB-105"
    before = stage.readiness(reference)
    _show(stage, reference, before)
    litres = next(f["remedy"]["amount"] for f in before["findings"] if f["check"] == "thermal.fuel")
    have_l = stage.scenario.units[number]["reading"]["fuel_l"]
    stage.post_reading(number, fuel_l=have_l + litres)
    stage.teller.line("gateway", f"reports {have_l + litres:g} L in {number} after {litres:g} L were filled")
    _show(stage, reference, stage.readiness(reference))
    stage.pause(2)


def left_off(stage: Stage) -> None:
    """A unit somebody switched off and forgot; switched on again, it has time to warm its box."""
    reference, number = "T-406", "HB-106"
    _show(stage, reference, stage.readiness(reference))
    stage.post_reading(number, unit_on=True, heater_running=True, return_air_c=5.2, discharge_air_c=17.0)
    stage.teller.line("gateway", f"reports that {number} is on again")
    _show(stage, reference, stage.readiness(reference))
    stage.pause(3)


def mending(stage: Stage) -> None:
    """A repair with a re-check, and a sign-off with a new inspection: both holds are lifted."""
    stage.teller.act(5, "The workshop: a repair, a sign-off, and a second look")
    since_s = time.monotonic()
    _repair_and_recheck(stage, "HB-103", "belt")
    stage.teller.line("Ida", "signs the repair of the belt and looks at it again")
    stage.until("the hold on T-403 lifted", lambda: stage.hold_of("T-403", "lifted"))
    _show(stage, "T-403", stage.readiness("T-403"))
    _await_message(stage, "HB-103", "email", since_s=since_s)
    stage.pause(2)

    stage.post_fault("HB-102", FAULT, "cleared")
    stage.post_reading("HB-102")
    alarm = stage.cast.inspector.get("alarms/?unit=HB-102&open=true")["items"][0]
    stage.cast.inspector.post(f"alarms/{alarm['id']}/sign-off/", {"work_done": WORK_DONE}, tag="*")
    stage.teller.line("Ida", f"signs off {FAULT}: hose clamp tightened, topped up, bled")
    since_s = time.monotonic()
    inspect(stage, "HB-102", sheet_of(stage, "pre-trip"))
    stage.teller.line("Ida", "inspects HB-102 anew: a stop fault voids the inspection before it")
    stage.until("the hold on T-402 lifted", lambda: stage.hold_of("T-402", "lifted"))
    _show(stage, "T-402", stage.readiness("T-402"))
    _await_message(stage, "HB-102", "email", since_s=since_s)
    stage.pause(3)


def departures(stage: Stage) -> None:
    """The load goes in, is measured, and two trips leave."""
    stage.teller.act(6, "Away: assigned, loaded, measured, departed")
    for reference in ("T-401", "T-402"):
        number = stage.scenario.trips[reference]["unit"]
        stage.cast.dispatcher.ask("PUT", f"trips/{reference}/assignment/", {"unit": number}, tag="*")
        if reference == "T-402":
            record_loading(stage, reference)
        answer = stage.cast.dispatcher.ask("POST", f"trips/{reference}/depart/", tag="*").body
        score = score_in_words(answer["score"])
        stage.teller.verdict(reference, answer["verdict"], f"{number} has left; score {score}")
    stage.pause(2)


ACTS: tuple[Callable[[Stage], None], ...] = (
    evening, fault, failed_inspection, weak_unit, short_of_fuel, left_off, mending, departures,
)  # fmt: skip


def _show(stage: Stage, reference: str, answer: Mapping[str, Any]) -> None:
    """One trip's answer: verdict, unit, first reason, and its remedy when it is not to go."""
    reason = first_reason(dict(answer))
    words = f"{answer['unit']}  {_reason_words(reason)}"
    stage.teller.verdict(reference, answer["verdict"], words)
    if reason is not None and reason["remedy"] is not None and answer["verdict"] in ("blocked", "unknown"):
        stage.teller.remedy(reason["remedy"]["text"])


def _reason_words(reason: Mapping[str, Any] | None) -> str:
    return "every check passes" if reason is None else str(reason["message"])


def _await_message(stage: Stage, number: str, channel: str, *, since_s: float) -> None:
    address, words = stage.until(f"{channel} about {number}", lambda: stage.arrived(number, channel=channel))
    stage.teller.message(channel, address, words, after_s=time.monotonic() - since_s)


def _repair_and_recheck(stage: Stage, number: str, item: str) -> None:
    inspector = stage.cast.inspector
    report = inspector.get(f"inspections/?unit={number}&result=unfit")["items"][0]
    full = inspector.get(f"inspections/{report['id']}/")
    observation = next(seen["id"] for seen in full["observations"] if seen["item"] == item)
    repair = {"observation": observation, "kind": "repaired", "what_done": REPAIR_DONE, "signature": {}}
    inspector.post(f"inspections/{report['id']}/repairs/", repair)
    seen = [one for one in observations(sheet_of(stage, "pre-trip"), defects={}, values={}) if one["item"] == item]
    inspector.post(f"inspections/{report['id']}/rechecks/", {"observations": seen, "signature": {}})
