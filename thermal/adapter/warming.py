"""From how cold a box is warmed for loading, and how long that takes: worked out for all units of a trip together."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import msgspec

from fleet.models.readiness import Phase
from fleet.readiness.facts import Facts
from thermal import WarmUp
from thermal.adapter.ambient import ambient_at
from thermal.adapter.inputs import Inputs
from thermal.warmup import warm_ups

FRESH = timedelta(hours=1)


class BoxAir(msgspec.Struct, frozen=True, gc=False):
    """The air of a box now [degC]: measured lately, else what the forecast and the set point suggest."""

    air_c: float
    ambient_c: float
    """Ambient at loading."""
    measured_until: datetime | None
    """Until when the measured value counts; None when nothing fresh was measured."""

    def is_warm(self, facts: Facts, set_c: float) -> bool:
        return self.measured_until is not None and self.air_c >= set_c - facts.policy.preheat_tolerance_k


def box_air(facts: Facts, set_c: float, now: datetime) -> BoxAir:
    """The air of the unit's box, which a trip with a forecast and a set point is to be loaded from."""
    ambient_c = ambient_at(facts.trip, facts.trip.loading_at)
    air = facts.unit.values.get("return_air_c")
    if air is not None and now - air.at < FRESH:
        return BoxAir(float(air.value), ambient_c, air.at + FRESH)
    return BoxAir(min(ambient_c, set_c), ambient_c, None)


def warmings(asked: Sequence[tuple[Facts, Inputs]], now: datetime) -> list[WarmUp | None]:
    """How long each of these boxes takes, in their order; None where nobody has to know. All share one set point."""
    found: list[WarmUp | None] = [None] * len(asked)
    cold: list[tuple[int, float, float]] = []
    for place, (facts, inputs) in enumerate(asked):
        if facts.trip.phase is not Phase.PLANNED or now >= facts.trip.loading_at:
            continue
        set_c = inputs.trip.set_point_c
        box = box_air(facts, set_c, now)
        if not box.is_warm(facts, set_c):
            soak_c = min(box.air_c, set_c)
            cold.append((place, soak_c, min(box.ambient_c, soak_c)))
    if cold:
        first = asked[0][1]
        units = [asked[place][1].unit for place, _, _ in cold]
        marched = warm_ups(
            units,
            set_point_c=first.trip.set_point_c,
            soak_c=[soak_c for _, soak_c, _ in cold],
            ambient_c=[ambient_c for _, _, ambient_c in cold],
        )
        for (place, _, _), warming in zip(cold, marched, strict=True):
            found[place] = warming
    return found
