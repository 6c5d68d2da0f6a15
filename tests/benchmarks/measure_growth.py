"""Whether history makes anything slower: the same questions at growing numbers of readings."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from typing import Any

import psycopg

from tests.benchmarks.ground import Ground
from tests.benchmarks.measure_ingest import over_http
from tests.benchmarks.measure_reads import seconds
from tests.benchmarks.yard import UNITS, Client, Yard

SAMPLES = 200
ROUNDS, BATCHES = 5, 60
FILL = """
INSERT INTO fleet_reading (unit_id, at, source_id, content_hash, return_air_c, set_point_c, ambient_c, fuel_l,
                           battery_v, engine_hours_h, heater_running, unit_on, door_open)
SELECT u, now() - interval '20 days' + s * interval '15 s', %(source)s, s, 7.1, 7, -10, 150, 12.7,
       1834.2, true, true, false
  FROM generate_series(%(from)s::bigint, %(to)s::bigint) AS s, unnest(%(units)s::bigint[]) AS u
"""


@dataclass(frozen=True, slots=True)
class Point:
    """What was measured with so many readings stored."""

    readings: int
    ingest_rows_s: float
    readiness_s: float


def measure_growth(ground: Ground, yard: Yard, sizes: list[int]) -> list[Point]:
    points = []
    stored = 0
    with psycopg.connect(ground.dsn, autocommit=True) as connection:
        connection.execute("TRUNCATE fleet_reading")  # what other measurements stored
        for size in sizes:
            fill(connection, yard, stored, size)
            points.append(measure_at(ground, yard, size))
            stored = size
    return points


def fill(connection: psycopg.Connection[Any], yard: Yard, stored: int, size: int) -> None:
    """From *stored* to *size* readings, and whatever PostgreSQL would do about them by itself some minutes later."""
    span = {"source": yard.source_id, "from": stored // UNITS, "to": size // UNITS - 1, "units": yard.unit_ids}
    connection.execute(FILL, span)
    connection.execute("VACUUM (ANALYZE) fleet_reading, fleet_unitstate")
    connection.execute("CHECKPOINT")


def measure_at(ground: Ground, yard: Yard, size: int) -> Point:
    client = Client(ground.web_port, yard.dispatcher)
    to = (ground.web_port, yard.sending.integrator, yard.now)
    over_http(*to, batches=BATCHES)
    rates = [over_http(*to, batches=BATCHES) for _ in range(ROUNDS)]
    client.get("/api/v1/trips/T-2/readiness/")
    asked = [seconds(lambda: client.get("/api/v1/trips/T-2/readiness/")) for _ in range(SAMPLES)]
    return Point(size, statistics.median(rates), statistics.median(asked))
