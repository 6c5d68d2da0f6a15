"""What a condition or a watch means for people: which findings are there, and why, in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from math import isfinite

from fleet.clock import text_of
from fleet.events import Found
from thermal.health.change import Cause
from thermal.health.condition import Condition
from thermal.health.day import Day
from thermal.health.readings import Plant
from thermal.health.tank import Event, EventKind
from thermal.health.watch import Level, WatchState

LEAST_GROWTH = 1.10
"""From such a step on work is worth planning."""
BURN_HIGH, GAUGE_HIGH_SHARE = 1.15, 0.05
SAID_FOR = timedelta(hours=12)
"""A loss of fuel is one moment; the finding is over after so long."""
BOX_CODES = {
    Cause.BOX: "insulation-worse",
    Cause.EITHER: "heat-balance-worse",
    Cause.HEATER: "heater-weaker",
}
LASTING = (*BOX_CODES.values(), "gauge-high", "burn-high")
BOX_ITEMS = ("doors", "insulation", "vents", "drains")
"""Items of a sheet to look at closely when the box may leak."""
HEATING_ITEMS = ("coil", "coolant", "warming")


def judge_condition(unit_id: int, condition: Condition, plant: Plant, *, at: datetime) -> list[Found]:
    """Every lasting finding, there or not."""
    there = dict(_lasting(condition, plant))
    return [Found(unit_id, at, code, code in there, there.get(code, "")) for code in LASTING]


def _lasting(condition: Condition, plant: Plant) -> Iterable[tuple[str, str]]:
    ratio, change = condition.ratio, condition.change
    if ratio is not None and condition.enough:
        grown = change is not None and change.factor >= LEAST_GROWTH
        if grown or condition.worse:
            cause = change.cause if change is not None and grown else Cause.EITHER
            yield BOX_CODES[cause], _why(condition, cause)
    if condition.gauge_high_l is not None and condition.gauge_high_l > GAUGE_HIGH_SHARE * plant.tank_l:
        yield "gauge-high", f"After fills the gauge shows {condition.gauge_high_l:.0f} L more than the tank holds."
    burn = condition.burn
    if burn is not None and burn.low > BURN_HIGH:
        yield (
            "burn-high",
            f"It burns {100 * burn.mean:.0f} % of what its design says "
            f"(90 % interval {100 * burn.low:.0f}-{100 * burn.high:.0f} %).",
        )


def _why(condition: Condition, cause: Cause) -> str:
    ratio, change = condition.ratio, condition.change
    assert ratio is not None
    text = (
        f"For the heat its heater gives the box loses {ratio.mean:.2f} times what was known of it "
        f"(90 % interval {ratio.low:.2f}-{ratio.high:.2f}, {condition.hours:.0f} h of heating)."
    )
    if change is not None:
        text += f" It changed by {100 * (change.factor - 1):+.0f} % about {day_text(change.since)}."
    if cause is Cause.HEATER:
        return text + " The discharge air is cooler by about as much: it is the heater."
    if cause is Cause.BOX:
        return text + " The discharge air is as warm as before: it is the box."
    return text + " Readings cannot tell the box from the heater."


def judge_fuel(unit_id: int, days: Iterable[Day], *, now: datetime) -> list[Found]:
    """The newest loss of fuel, while it is news; else that there is none."""
    drops = [event for day in days for event in day.tank.events if event.kind is EventKind.DROP]
    newest = max(drops, key=lambda event: event.before_s, default=None)
    if newest is None:
        return []
    at = datetime.fromtimestamp(newest.before_s, tz=UTC)
    if now - at >= SAID_FOR:
        return [Found(unit_id, at + SAID_FOR, "fuel-missing", False)]
    return [Found(unit_id, at, "fuel-missing", True, _drop_text(newest))]


def _drop_text(event: Event) -> str:
    between = [text_of(datetime.fromtimestamp(at, tz=UTC)) for at in (event.after_s, event.before_s)]
    state = "on" if event.on else "off"
    return (
        f"{event.litres:.0f} L left the tank between {between[0]} and {between[1]} (unit {state}), beyond what its run "
        f"explains; {event.level_l:.0f} L are shown since."
    )


def judge_watch(unit_id: int, state: WatchState) -> list[Found]:
    """What the heat watch says now."""
    at = datetime.fromtimestamp(state.at_s, tz=UTC)
    said = {
        "heat-doubted": state.level is Level.ATTEND,
        "heat-gone": state.level is Level.STOP,
        "heat-not-called": state.not_called,
    }
    return [Found(unit_id, at, code, there, _watch_text(code, state) if there else "") for code, there in said.items()]


def _watch_text(code: str, state: WatchState) -> str:
    if code == "heat-not-called":
        return f"On and not calling for {state.cold_s / 60:.0f} minutes; the air is {state.air_c:.1f} °C and falls."
    rise = state.discharge_c - state.air_c
    seen = f"discharge air is {rise:+.1f} K from return air" if isfinite(rise) else "the box takes up no heat"
    fell = state.doubt_air_c - state.air_c
    return (
        f"Calling for heat for {state.run_s / 60:.0f} minutes; {seen}; the air is {state.air_c:.1f} °C, "
        f"{fell:.1f} K below where the doubt began."
    )


def to_look_at(findings: Iterable[Found]) -> list[dict[str, object]]:
    """Items the next inspection is asked to look at closely, each with why."""
    asked: dict[str, str] = {}
    for finding in findings:
        if not finding.there:
            continue
        items: tuple[str, ...] = ()
        if finding.code in (BOX_CODES[Cause.BOX], BOX_CODES[Cause.EITHER]):
            items += BOX_ITEMS
        if finding.code in (BOX_CODES[Cause.HEATER], BOX_CODES[Cause.EITHER]):
            items += HEATING_ITEMS
        asked |= {item: finding.text for item in items if item not in asked}
    return [{"item": item, "why": why} for item, why in sorted(asked.items())]


def day_text(number: int) -> str:
    """The date of a day's number."""
    return f"{datetime.fromtimestamp(number * 86_400, tz=UTC):%Y-%m-%d}"
