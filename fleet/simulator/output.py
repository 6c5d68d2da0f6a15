"""Where a simulated fleet goes: files of JSON lines, or the service."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from hashlib import sha256
from typing import IO, Any

from fleet.simulator.posting import Progress
from fleet.simulator.streams import FleetPlan, FleetStream


class Outflow:
    """Hands out the lines of a stream one by one, writes the truth on the way, and knows how far it is."""

    def __init__(self, stream: FleetStream, *, truth: IO[str] | None) -> None:
        self.stream, self.truth = stream, truth
        self.day, self.line, self.of_day = 0, 0, 1

    def lines(self) -> Iterator[str]:
        """Yield every event line in order of arrival."""
        for day in self.stream.days():
            self.write_truth(day.truth)
            self.day, self.of_day = day.index, max(len(day.lines), 1)
            for self.line, text in enumerate(day.lines, start=1):
                yield text
        self.day, self.line = self.stream.plan.days, 0

    def write_truth(self, records: list[dict[str, Any]]) -> None:
        """Write truth records as JSON lines."""
        if self.truth is not None:
            for record in records:
                self.truth.write(json.dumps(record, separators=(",", ":"), ensure_ascii=False) + "\n")

    @property
    def done(self) -> float:
        """Share of the stream that has been handed out, 0..1 (days count alike)."""
        return min(1.0, (self.day + self.line / self.of_day) / self.stream.plan.days)


def fingerprint(plan: FleetPlan) -> str:
    """Return a digest of everything that decides the stream, so that a bookmark is not used for another one."""
    facts = asdict(plan)
    facts["weather_c"] = None if plan.weather_c is None else plan.weather_c.tolist()
    facts["start"] = plan.start.isoformat()
    return sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()


def answers_text(progress: Progress) -> str:
    """Return the counts of answers by status, one per line."""
    lines = [f"{progress.sent} events sent in {progress.batches} batches"]
    lines += [f"  {count:>9}  {status}" for status, count in sorted(progress.answers.items())]
    return "\n".join(lines)
