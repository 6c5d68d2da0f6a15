"""What reaches the two carriers and when: one through the radio, with replays on top, the other in order and once."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from fleet.simulator.connectivity import Message, Quality
from fleet.simulator.incidents import Troubles
from fleet.simulator.mishaps import Mishaps
from fleet.simulator.quantities import Floats
from fleet.simulator.streams import FleetPlan, FleetStream
from fleet.simulator.weather import winter_series
from fleet.simulator.yard import Reliability

MINUTE_S, HOUR_S = 60, 3600
TAIL_H = 3
"""After the trouble the links are good for so long; then the two carriers are compared."""
HEALS_S = 45 * 60
"""What was still held up by a gap or a delay then arrives within so long."""
REPLAY_EVERY_S = 6 * HOUR_S
AHEAD_S = 600
"""How far ahead of the service a clock may be (the contract)."""

ROUGH = Quality(
    gaps_per_day=3.0,
    gap_median_h=1.5,
    lost_gap_share=0.1,
    straggler_share=0.05,
    repeat_share=0.05,
    clock_sd_s=180.0,  # of a hundred units, ninety-nine are less than eight minutes ahead
    wrong_clock_share=0.1,  # a quarter of an hour to an hour ahead
    second_source_share=0.25,
)


@dataclass(frozen=True, slots=True)
class Winter:
    """The events of a fleet, what was true, and the outside air [degC], shape (hours + 1, units)."""

    start: datetime
    trouble_s: int
    end_s: int
    numbers: tuple[str, ...]
    rough: dict[int, list[str]]
    """Minute of arrival to event lines, as the radio brings them."""
    calm: dict[int, list[str]]
    truth: list[dict[str, Any]]
    unit_of: dict[str, str]
    """Event line to its unit's number."""
    ambient_c: Floats
    stream: FleetStream
    counts: dict[str, int]

    def at(self, seconds: float) -> datetime:
        return self.start + timedelta(seconds=seconds)

    def records(self, kind: str) -> list[dict[str, Any]]:
        return [record for record in self.truth if record["kind"] == kind]


def draw_winter(*, units: int, hours: int, seed: int, start: datetime) -> Winter:
    """The same for the same arguments."""
    end_h = hours + TAIL_H
    days = -(-end_h // 24)
    plan = FleetPlan(
        units=units,
        days=days,
        start=start,
        seed=seed,
        prefix="WF",
        weather_c=winter_series(hours=days * 24, rng=np.random.default_rng(seed), mean_c=-19.0),
        quality=ROUGH,
        reliability=Reliability(failures_per_h=1 / 60, help_median_h=3.0),
        troubles=Troubles(per_unit_day=0.5, flapping_share=0.4, most_turns=8),
        mishaps=Mishaps(drains_per_unit_day=0.02),
    )
    stream = FleetStream(plan)
    lived = list(stream.days())
    trouble_s, end_s = hours * HOUR_S, end_h * HOUR_S
    arrived = [healed(message, trouble_s) for day in lived for message in day.messages if message.made_s < end_s]
    once = {message.text: message for message in sorted(arrived, key=lambda message: -message.arrives_s)}
    replays = replayed(list(once.values()), trouble_s, rng=np.random.default_rng(seed + 1))
    rough = sorted(arrived + replays, key=lambda message: message.arrives_s)
    return Winter(
        start=start,
        trouble_s=trouble_s,
        end_s=end_s,
        numbers=stream.roster.numbers,
        rough=by_minute([(message.arrives_s, message.text) for message in rough]),
        calm=by_minute(sorted((max(said_s(text, start), message.made_s), text) for text, message in once.items())),
        truth=[record for day in lived for record in day.truth],
        unit_of={text: stream.roster.numbers[message.unit] for text, message in once.items()},
        ambient_c=stream.yard.ambient_hourly,
        stream=stream,
        counts={
            "events": len(once),
            "sent": len(rough),
            "repeated": len(arrived) - len(once),
            "replayed": len(replays),
            "out of order": disorder(rough, start),
            "clocks ahead, accepted": int(((stream.links.clock_s > 60) & (stream.links.clock_s <= AHEAD_S)).sum()),
            "clocks too far ahead": int((stream.links.clock_s > AHEAD_S).sum()),
            "gaps": sum(len(spells) for spells in stream.links.gaps),
            "gaps that lost data": sum(gap.lost for spells in stream.links.gaps for gap in spells),
            "faults": sum(json.loads(text)["type"] == "unit.fault.v1" for text in once),
        },
    )


def healed(message: Message, trouble_s: int) -> Message:
    """A message as it arrives when the links are good from the end of the trouble on."""
    good_s = max(trouble_s, message.made_s) + (message.arrives_s - message.made_s) % HEALS_S
    return replace(message, arrives_s=min(message.arrives_s, good_s))


def replayed(messages: list[Message], trouble_s: int, *, rng: np.random.Generator) -> list[Message]:
    """Gateways that send everything of their last six hours again, a third of them each time, in any order."""
    again = []
    for until_s in range(REPLAY_EVERY_S, trouble_s + 1, REPLAY_EVERY_S):
        senders = rng.random(1000) < 1 / 3
        for message in messages:
            if until_s - REPLAY_EVERY_S <= message.arrives_s < until_s and senders[message.unit]:
                again.append(replace(message, arrives_s=until_s + float(rng.uniform(0, 600))))
    return again


def by_minute(arrivals: list[tuple[float, str]]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = defaultdict(list)
    for at_s, text in arrivals:
        found[int(at_s // MINUTE_S) + 1].append(text)
    return found


def said_s(text: str, start: datetime) -> float:
    """The event's own time [s from the start]."""
    return (datetime.fromisoformat(json.loads(text)["time"]).astimezone(UTC) - start).total_seconds()


def disorder(messages: list[Message], start: datetime) -> int:
    """How many arrive after a younger one of the same unit."""
    newest: dict[int, float] = {}
    late = 0
    for message in messages:
        said = said_s(message.text, start)
        late += said < newest.get(message.unit, -1.0)
        newest[message.unit] = max(said, newest.get(message.unit, -1.0))
    return late
