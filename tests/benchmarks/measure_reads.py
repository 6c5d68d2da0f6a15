"""Readiness and candidates over HTTP, beside a bare authenticated view and an assessment without HTTP."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
import orjson
import psycopg

from tests.benchmarks.ground import Ground
from tests.benchmarks.measure_ingest import together
from tests.benchmarks.yard import TRIPS, UNITS, Client, Yard, number_of

SAMPLES = 300
FRESH_SAMPLES = 100
BUSY_CLIENTS = 8
RANKINGS = 3


@dataclass(frozen=True, slots=True)
class Reads:
    """Medians in seconds, and the latencies of eight clients at once."""

    bare_s: float
    unchanged_s: float
    fresh_s: float
    assessment_s: float
    busy_s: list[float]
    mild_s: float
    severe_s: float
    of_each_s: float

    @property
    def busy_p50_s(self) -> float:
        return float(np.percentile(self.busy_s, 50))

    @property
    def busy_p99_s(self) -> float:
        return float(np.percentile(self.busy_s, 99))


def seconds(call: Callable[[], object]) -> float:
    begun = time.perf_counter()
    call()
    return time.perf_counter() - begun


def measure_reads(ground: Ground, yard: Yard) -> Reads:
    client = Client(ground.web_port, yard.dispatcher)
    answer = "/api/v1/trips/T-0/readiness/"
    for _ in range(40):
        client.get(answer)
        client.get("/bench/bare/")
    pairs = [(seconds(lambda: client.get("/bench/bare/")), seconds(lambda: client.get(answer))) for _ in range(SAMPLES)]
    fresh, plain = _fresh(ground, yard, client)
    return Reads(
        bare_s=statistics.median(bare for bare, _ in pairs),
        unchanged_s=statistics.median(unchanged for _, unchanged in pairs),
        fresh_s=fresh,
        assessment_s=plain,
        busy_s=_busy(ground, yard),
        mild_s=_ranking(client, "MILD"),
        severe_s=_ranking(client, "SEVERE"),
        of_each_s=_of_each(client),
    )


def _fresh(ground: Ground, yard: Yard, client: Client) -> tuple[float, float]:
    """Medians of a GET whose stored answer is out of date, and of the assessment in this process, side by side."""
    from fleet.readiness.assess import assess
    from fleet.readiness.selectors import facts_of_trips, trips_with_units
    from fleet.trips.selectors import trip_of

    asked, alone = [], []
    trip_id = trip_of(yard.fleet_id, "T-1").pk
    with psycopg.connect(ground.dsn, autocommit=True) as connection:
        for _ in range(FRESH_SAMPLES):
            connection.execute(
                "UPDATE fleet_unitstate SET version = version + 1 WHERE unit_id = %s", [yard.unit_ids[1]]
            )
            asked.append(seconds(lambda: client.get("/api/v1/trips/T-1/readiness/")))
            facts = facts_of_trips(trips_with_units([trip_id]))
            alone.append(seconds(partial(assess, facts, now=yard.now)))
    return statistics.median(asked), statistics.median(alone)


def _busy(ground: Ground, yard: Yard) -> list[float]:
    """Latencies of GETs whose answer is stored, by eight clients at once."""
    found: list[float] = []

    def ask(client: Client, i: int) -> None:
        for turn in range(SAMPLES):
            path = f"/api/v1/trips/T-{(i * 7 + turn) % TRIPS}/readiness/"
            found.append(seconds(partial(client.get, path)))

    warm = Client(ground.web_port, yard.dispatcher)
    for i in range(TRIPS):
        warm.get(f"/api/v1/trips/T-{i}/readiness/")
    clients = [Client(ground.web_port, yard.dispatcher) for _ in range(BUSY_CLIENTS)]
    together([partial(ask, c, i) for i, c in enumerate(clients)])
    return found


def _ranking(client: Client, reference: str) -> float:
    def ask() -> None:
        content = client.send("POST", f"/api/v1/trips/{reference}/candidates/", b'{"units": null}')
        assert len(orjson.loads(content)["candidates"]) == UNITS

    ask()
    return statistics.median(seconds(ask) for _ in range(RANKINGS))


def _of_each(client: Client) -> float:
    """Seconds to ask for each of the thousand units, from a tenth of them, none asked before."""
    asked = range(3, UNITS, 10)
    paths = [f"/api/v1/trips/MILD/readiness/?unit={number_of(i)}" for i in asked]
    return sum(seconds(partial(client.get, path)) for path in paths) * UNITS / len(asked)
