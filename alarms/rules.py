"""What faults mean where no code book says so, and our own rules: pure tables and decisions, no rows.

Tiers are by effect on the departure (docs/alarms.md). The tier of a J1939 failure mode is our own rule: the standard
grades how far a value is out, and does not say whether a unit may leave.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from alarms.derived import heat, journey
from alarms.derived.situation import Situation
from alarms.j1939 import PARAMETERS, FailureMode, Severity, failure_mode
from alarms.models import Mapping, Tier
from fleet.models import Phase

LOOK = "Look at the unit."


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a fault is called, what it does to a departure, and what helps."""

    tier: Tier
    component: str
    meaning: str
    what_to_do: str
    mapping: Mapping


# --- codes --------------------------------------------------------------------------------------------------------

_TIER_OF_SEVERITY = {
    Severity.MOST: Tier.STOP,
    Severity.MODERATE: Tier.ATTEND,
    Severity.LEAST: Tier.WATCH,
    Severity.UNRANKED: Tier.ATTEND,
}


def tier_of(mode: FailureMode) -> Tier:
    """Most severe: stop. Moderately severe: attend. Least severe: watch. Everything that does not grade a value
    (electrical faults, broken signals, reserved modes): attend, because what the value is cannot be known."""
    return _TIER_OF_SEVERITY[mode.severity]


def meaning_of_pair(spn: int, fmi: int) -> Meaning:
    """What a J1939 pair says in plain words. *Raises* J1939Error for numbers the standard does not have."""
    mode = failure_mode(fmi)
    known = PARAMETERS.get(spn)
    component = known.name if known is not None else f"parameter {spn}"
    tier = tier_of(mode)
    return Meaning(tier, component, f"{component}: {mode.meaning}", _advice(tier, mode), Mapping.FMI)


def _advice(tier: Tier, mode: FailureMode) -> str:
    if mode.reserved:
        return f"{LOOK} The standard reserves this failure mode; the unit model's code book can say what it means."
    if not mode.trustworthy:
        return f"{LOOK} Check the sensor, its plug and its wiring; until then its value says nothing."
    if tier is Tier.STOP:
        return f"Do not leave. {LOOK} Find the cause, repair it, and sign it off."
    if tier is Tier.WATCH:
        return "Plan the work; it does not keep the unit from this departure."
    return f"{LOOK} Leave only when the cause is known and does no harm on this trip."


def unmapped(code: str) -> Meaning:
    """A code that no book explains. It may be harmless or not: nobody has said."""
    return Meaning(
        Tier.ATTEND,
        "not mapped",
        f"Code {code}: nobody has said what it means",
        f"{LOOK} Then add the code to the unit model's code book; the mapping applies to this record too.",
        Mapping.NONE,
    )


def pair_code(spn: int, fmi: int) -> str:
    """How a pair is written as a code; a code book may explain it under this name."""
    return f"spn{spn}-fmi{fmi}"


def pair_of(code: str) -> tuple[int, int]:
    """The pair that `pair_code` wrote."""
    spn, fmi = code.removeprefix("spn").split("-fmi")
    return int(spn), int(fmi)


# --- our own rules ------------------------------------------------------------------------------------------------

HEAT_LOST = "heat-lost"
LEFT_WHILE_HELD = "left-while-held"
DATA_SILENT = "data-silent"
UNDER_WAY = frozenset({Phase.UNDER_WAY})
PLANNED = frozenset({Phase.PLANNED})
BOTH = frozenset(Phase)


@dataclass(frozen=True, slots=True)
class Rule:
    """One fault that we look for ourselves."""

    code: str
    tier: Tier
    component: str
    meaning: str
    what_to_do: str
    phases: frozenset[Phase]
    needs_heat: bool
    """Whether it concerns only loads that need heat."""
    judge: Callable[[Situation], bool | None]

    @property
    def words(self) -> Meaning:
        return Meaning(self.tier, self.component, self.meaning, self.what_to_do, Mapping.RULE)


RULES: tuple[Rule, ...] = (
    Rule(
        DATA_SILENT,
        Tier.ATTEND,
        "telemetry",
        "Under way, and nothing is heard of the unit",
        "Call the driver: read set point, box temperature and fuel at the unit; check its power and its gateway.",
        UNDER_WAY,
        False,
        journey.judge_silent,
    ),
    Rule(
        "door-open-heating",
        Tier.ATTEND,
        "doors",
        "The doors stand open while the heater runs",
        "Close the doors, or switch the unit off while loading with open doors.",
        BOTH,
        True,
        heat.judge_door_heating,
    ),
    Rule(
        "fuel-short",
        Tier.ATTEND,
        "fuel",
        "The fuel does not reach the next fill",
        "Refuel before the heater stops, with the unit off; the trip's fuel finding says how much.",
        UNDER_WAY,
        True,
        journey.judge_fuel_short,
    ),
    Rule(
        HEAT_LOST,
        Tier.STOP,
        "heating",
        "No heat reaches the box: discharge air is no warmer than return air, and the box is below its set point",
        "Keep the doors shut. Check at the unit: switched on, fuel, engine, coolant, fan. If it does not heat within "
        "the time there is, bring the load to a warm place or another unit. Isolate the unit before reaching in.",
        UNDER_WAY,
        True,
        heat.judge_heat_lost,
    ),
    Rule(
        "leaving-range",
        Tier.ATTEND,
        "load",
        "The load is outside its agreed range or about to leave it",
        "Check set point, doors and heat at the unit. A heater cannot cool: if the load is too warm, tell its owner.",
        UNDER_WAY,
        True,
        heat.judge_leaving_range,
    ),
    Rule(
        LEFT_WHILE_HELD,
        Tier.ATTEND,
        "departure",
        "The unit moves although its trip is held",
        "Call the driver. If the unit only changed places in the yard, say so when you sign this off.",
        PLANNED,
        False,
        journey.judge_left_while_held,
    ),
    Rule(
        "set-point-not-taken",
        Tier.ATTEND,
        "controller",
        "The set point was changed, and the unit has not taken it",
        "Set it at the unit and wait until the unit reports it.",
        BOTH,
        True,
        journey.judge_set_point_not_taken,
    ),
)
BY_CODE = {rule.code: rule for rule in RULES}


@dataclass(frozen=True, slots=True)
class Ruling:
    """A change that our rules found: a fault is now there, or no longer."""

    code: str
    raised: bool
    text: str = ""


def judge_all(situation: Situation, rules: Iterable[Rule] = RULES) -> list[Ruling]:
    """What has changed, by code. A rule that cannot tell changes nothing; one that does not apply here clears."""
    rulings = []
    for rule in rules:
        said = _judge(rule, situation)
        if said is not None and said != (rule.code in situation.open_codes):
            rulings.append(Ruling(rule.code, said))
    return sorted(rulings, key=lambda ruling: ruling.code)


def _judge(rule: Rule, situation: Situation) -> bool | None:
    trip = situation.facts.trip
    if trip.phase not in rule.phases or (rule.needs_heat and not trip.needs_heat):
        return False
    return rule.judge(situation)
