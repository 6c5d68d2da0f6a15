"""What learning can find in a unit's readings: codes, tiers and words. The finder adds its own explanation."""

from __future__ import annotations

from alarms.models import Mapping, Tier
from alarms.rules import HEAT_LOST, Meaning

HEAT_DOUBTED, HEAT_GONE, HEAT_NOT_CALLED = "heat-doubted", "heat-gone", "heat-not-called"
HEAT_CODES = frozenset({HEAT_LOST, HEAT_DOUBTED, HEAT_GONE, HEAT_NOT_CALLED})
"""Faults that put the load at risk by the hour: told as heat lost, with the time to damage."""
_LOOK_AT_HEATING = (
    "Keep the doors shut. Check at the unit: fuel, engine, coolant, fan, and whether its discharge air is warm. "
    "Isolate the unit before reaching in."
)
_LOOK_AT_BOX = (
    "At the next inspection look at doors and seals, insulation and lining, vents and drains: wet foam, a torn seal or "
    "an open vent. After a repair learning begins anew."
)


def _words(tier: Tier, component: str, meaning: str, what_to_do: str) -> Meaning:
    return Meaning(tier, component, meaning, what_to_do, Mapping.RULE)


LEARNED: dict[str, Meaning] = {
    HEAT_DOUBTED: _words(
        Tier.ATTEND,
        "heating",
        "The unit calls for heat, and its readings say that none or little comes",
        _LOOK_AT_HEATING,
    ),
    HEAT_GONE: _words(
        Tier.STOP,
        "heating",
        "Heat has stopped without a fault report: no heat by the readings, and the air has fallen",
        f"{_LOOK_AT_HEATING} If it does not heat within the time there is, bring the load to a warm place or another "
        "unit.",
    ),
    HEAT_NOT_CALLED: _words(
        Tier.ATTEND,
        "controller",
        "The unit is on and the box grows colder below its set point, but the unit does not call for heat",
        f"Check set point, mode and air sensor at the unit. {_LOOK_AT_HEATING}",
    ),
    "insulation-worse": _words(
        Tier.WATCH,
        "box",
        "The box loses more heat than it did, by its own readings",
        _LOOK_AT_BOX,
    ),
    "heat-balance-worse": _words(
        Tier.WATCH,
        "box or heating",
        "The unit runs longer for the same cold than it did: the box leaks, or the heater has grown weaker",
        f"{_LOOK_AT_BOX} Measure how warm the discharge air is at full fire.",
    ),
    "heater-weaker": _words(
        Tier.WATCH,
        "heating",
        "The heater gives less heat than it did, by its own readings",
        "Have burner, coolant level, coil and air path looked at. Isolate the unit before reaching in.",
    ),
    "fuel-missing": _words(
        Tier.ATTEND,
        "fuel",
        "Fuel left the tank that no run explains",
        "Look for a leak and at the cap; ask who had the unit. Dip the tank before the next departure.",
    ),
    "gauge-high": _words(
        Tier.WATCH,
        "fuel gauge",
        "The fuel gauge shows more than the tank holds",
        "Dip the tank and compare; plan with so much less until the gauge is mended.",
    ),
    "burn-high": _words(
        Tier.WATCH,
        "heating",
        "The heater burns more fuel than its design says",
        "Have burner, filter and air path looked at; look for a leak of fuel.",
    ),
}
