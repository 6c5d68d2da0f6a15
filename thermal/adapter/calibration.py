"""Scores of the model against outcomes of the simulator, which shares no code with it.

Worlds are drawn from stated distributions; for each case the model says a chance, the simulator says what happened in
one world. A reliability table then shows whether "80 of 100" happens 80 times of 100. This proves the arithmetic and
the averaging, not that the assumed spreads and rates are those of a real fleet: both sides draw from the same ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from fleet.simulator.cases import simulate_batch
from fleet.simulator.drawing import draw_cases
from fleet.simulator.request import parse_case
from thermal import assess, request_of
from thermal.ranges import Array

EDGES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1.0)
CHUNK = 200


@dataclass(frozen=True, slots=True)
class Bin:
    """Cases whose chance fell between two edges: how many, what was said on average, how often it came true."""

    low: float
    high: float
    n: int
    predicted: float
    observed: float

    @property
    def deviation(self) -> float:
        """Observed minus predicted in standard deviations of the count, given what was predicted."""
        spread = math.sqrt(max(self.predicted * (1 - self.predicted), 1e-9) / self.n)
        return (self.observed - self.predicted) / spread


@dataclass(frozen=True, slots=True)
class Reliability:
    """How well predicted chances match outcomes. `skill` compares with always saying the base rate."""

    n: int
    base_rate: float
    mean_predicted: float
    brier: float
    brier_expected: float
    skill: float
    calibration_error: float
    z_total: float
    bins: tuple[Bin, ...]


def reliability(predicted: Array, came_true: Array) -> Reliability:
    """The reliability of chances against outcomes.

    Parameters
    ----------
    predicted : ndarray, shape (n,)
        Chances, 0 to 1.
    came_true : ndarray, shape (n,)
        1 where it came true, else 0.

    Notes
    -----
    Brier score: mean of (p - y)^2. Skill: 1 - Brier / Brier of the base rate. Expected calibration error: mean over
    bins, weighted by count, of |observed - predicted|. `brier_expected` is what perfectly calibrated chances of these
    values would score: mean of p (1 - p).
    """
    p, y = np.asarray(predicted, dtype=float), np.asarray(came_true, dtype=float)
    if p.shape != y.shape or p.ndim != 1 or len(p) == 0:
        raise ValueError("predicted and came_true must be two vectors of the same length, not empty")
    base = float(y.mean())
    brier = float(np.mean((p - y) ** 2))
    climate = base * (1 - base)
    spread = math.sqrt(float(np.sum(p * (1 - p))) or 1e-12)
    bins = tuple(_bins(p, y))
    return Reliability(
        n=len(p),
        base_rate=base,
        mean_predicted=float(p.mean()),
        brier=brier,
        brier_expected=float(np.mean(p * (1 - p))),
        skill=1 - brier / climate if climate > 0 else math.nan,
        calibration_error=sum(bin_.n * abs(bin_.observed - bin_.predicted) for bin_ in bins) / len(p),
        z_total=float(np.sum(y - p)) / spread,
        bins=bins,
    )


def _bins(p: Array, y: Array) -> Iterator[Bin]:
    for low, high in pairwise(EDGES):
        inside = (p >= low) & (p < high) if high < 1 else (p >= low)
        n = int(inside.sum())
        if n:
            yield Bin(low, high, n, float(p[inside].mean()), float(y[inside].mean()))


def chunk_of(seed: int, size: int) -> tuple[Array, Array, Array]:
    """Predicted chances, outcomes and numbers of stops, shape (size,) each: one simulated world per drawn case."""
    requests = draw_cases(seed, size)
    stops = np.array([len(request["trip"]["stops"]) for request in requests])
    return predicted_chances(requests), outcomes(requests, seed=seed), stops


def predicted_chances(requests: Sequence[Mapping[str, Any]]) -> Array:
    """What the model says: the chance that the load arrives undamaged, shape (n,)."""
    chances = []
    for request in requests:
        asked = request_of(request)
        score = assess(asked.unit, load=asked.load, trip=asked.trip, risk=asked.risk)
        chances.append(score.score / 100)
    return np.array(chances)


def outcomes(requests: Sequence[Mapping[str, Any]], *, seed: int) -> Array:
    """What happened in one simulated world of each case: 1 undamaged, 0 damaged, shape (n,)."""
    truth = simulate_batch([parse_case(request) for request in requests], n=1, seed=seed)
    undamaged: Array = (~truth.damaged).astype(float)
    return undamaged


def by_stops(predicted: Array, came_true: Array, stops: Array) -> str:
    """Said and come true by the number of stops, as Markdown: doors are where model and simulator differ most."""
    lines = ["| stops | cases | said, mean (%) | came true (%) |", "|---|---|---|---|"]
    for count in sorted(set(stops.tolist())):
        inside = stops == count
        said, true = 100 * predicted[inside].mean(), 100 * came_true[inside].mean()
        lines.append(f"| {count} | {int(inside.sum())} | {said:.1f} | {true:.1f} |")
    return "\n".join(lines)


def table(result: Reliability) -> str:
    """The reliability table as Markdown."""
    lines = [
        "| said (%) | cases | said, mean (%) | came true (%) | deviation (sd) |",
        "|---|---|---|---|---|",
    ]
    lines += [
        f"| {100 * b.low:g}–{100 * b.high:g} | {b.n} | {100 * b.predicted:.1f} | {100 * b.observed:.1f} "
        f"| {b.deviation:+.1f} |"
        for b in result.bins
    ]
    return "\n".join(lines)
