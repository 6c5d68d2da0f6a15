"""What the radio does to messages: gaps, late batches, repeats, disorder, wrong clocks, a second source.

Nothing here changes a message: identity and content of an event stay, only when it arrives (or that it does
not).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fleet.simulator.errors import SimulatorError
from fleet.simulator.quantities import Bools, Floats

DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Message:
    """One event on its way: when it was made and when it arrives [s from the start], its unit, its JSON."""

    made_s: float
    arrives_s: float
    unit: int
    text: str


@dataclass(frozen=True, slots=True)
class Quality:
    """How good a fleet's links are. Shares are per message or per unit; assumptions.

    `wrong_clock_share` of the units have a clock a quarter of an hour or more ahead, which the service
    refuses.
    """

    gaps_per_day: float = 0.0
    gap_median_h: float = 1.0
    gap_sd_ln: float = 0.8
    lost_gap_share: float = 0.0
    delay_mean_s: float = 3.0
    straggler_share: float = 0.0
    straggler_mean_s: float = 1200.0
    repeat_share: float = 0.0
    clock_sd_s: float = 0.0
    wrong_clock_share: float = 0.0
    second_source_share: float = 0.0


QUALITIES: dict[str, Quality] = {
    "clean": Quality(),
    "ordinary": Quality(
        gaps_per_day=0.5,
        lost_gap_share=0.1,
        straggler_share=0.01,
        repeat_share=0.01,
        clock_sd_s=20.0,
        second_source_share=0.1,
    ),
    "rough": Quality(
        gaps_per_day=3.0,
        gap_median_h=1.5,
        lost_gap_share=0.2,
        straggler_share=0.05,
        repeat_share=0.05,
        clock_sd_s=60.0,
        wrong_clock_share=0.02,
        second_source_share=0.25,
    ),
}


@dataclass(frozen=True, slots=True)
class Gap:
    """A spell without radio; afterwards what was stored is sent at once, unless it is lost."""

    start_s: float
    end_s: float
    lost: bool


@dataclass(frozen=True, slots=True)
class Links:
    """The links of n units. `clock_s` is how far each unit's clock is ahead [s], shape (n,), the same always."""

    quality: Quality
    gaps: tuple[tuple[Gap, ...], ...]
    clock_s: Floats
    second: Bools

    def carry(self, messages: list[Message], *, rng: np.random.Generator) -> list[Message]:
        """Return the messages as they arrive, repeats included, in order of arrival."""
        quality, arrived = self.quality, []
        for message, delay, luck, straggle in zip(
            messages,
            rng.exponential(quality.delay_mean_s, len(messages)).tolist(),
            rng.random(len(messages)).tolist(),
            rng.exponential(quality.straggler_mean_s, len(messages)).tolist(),
            strict=True,
        ):
            leaves_s = self.leaves_s(message)
            if leaves_s is None:
                continue
            late = straggle if luck < quality.straggler_share else 0.0
            once = replace(message, arrives_s=leaves_s + delay + late)
            arrived.append(once)
            if luck > 1.0 - quality.repeat_share:
                arrived.append(replace(once, arrives_s=once.arrives_s + straggle))
        return sorted(arrived, key=lambda message: message.arrives_s)

    def leaves_s(self, message: Message) -> float | None:
        """Return when the gateway can send a message, or None when it is lost in a gap."""
        for gap in self.gaps[message.unit]:
            if gap.start_s <= message.made_s < gap.end_s:
                return None if gap.lost else gap.end_s
        return message.made_s

    def records(self, numbers: tuple[str, ...]) -> list[dict[str, Any]]:
        """Return the truth about the links: gaps, clocks, second sources."""
        gaps = [
            {
                "kind": "gap",
                "unit": numbers[unit],
                "at_s": round(gap.start_s),
                "until_s": round(gap.end_s),
                "lost": gap.lost,
            }
            for unit, spells in enumerate(self.gaps)
            for gap in spells
        ]
        links = [
            {
                "kind": "link",
                "unit": number,
                "at_s": 0,
                "clock_ahead_s": int(self.clock_s[unit]),
                "second_source": bool(self.second[unit]),
            }
            for unit, number in enumerate(numbers)
        ]
        return links + gaps


def draw_links(*, units: int, horizon_s: float, quality: Quality, rng: np.random.Generator) -> Links:
    """Return the links of a fleet until the horizon. Gaps of one unit may overlap: the first then counts."""
    if not 0.0 <= quality.repeat_share + quality.straggler_share <= 1.0:
        raise SimulatorError("quality: the shares of repeats and stragglers must not exceed 1 together")
    clock = np.round(quality.clock_sd_s * rng.standard_normal(units))
    wrong = rng.random(units) < quality.wrong_clock_share
    clock = np.where(wrong, np.round(rng.uniform(900.0, 3600.0, units)), clock)
    counts = rng.poisson(quality.gaps_per_day * horizon_s / DAY_S, units)
    return Links(
        quality=quality,
        gaps=tuple(draw_gaps(int(count), horizon_s, quality, rng) for count in counts),
        clock_s=clock,
        second=rng.random(units) < quality.second_source_share,
    )


def draw_gaps(count: int, horizon_s: float, quality: Quality, rng: np.random.Generator) -> tuple[Gap, ...]:
    """Return the gaps of one unit, by their start."""
    starts = np.sort(rng.uniform(0.0, horizon_s, count))
    lasts = 3600.0 * quality.gap_median_h * np.exp(quality.gap_sd_ln * rng.standard_normal(count))
    lost = rng.random(count) < quality.lost_gap_share
    return tuple(
        Gap(float(start), float(start + last), bool(gone))
        for start, last, gone in zip(starts, lasts, lost, strict=True)
    )
