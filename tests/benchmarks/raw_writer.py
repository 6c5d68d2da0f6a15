"""The other side of the ingest ratio: binary COPY, one insert, one upsert of the newest, by psycopg alone.

Started as `python -m tests.benchmarks.raw_writer DSN UNIT_FROM UNIT_TO SOURCE ROUND BATCHES SIZE`. Prepares its rows,
says `ready`, waits for a line, writes, and says how many seconds it took.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import psycopg

FLOATS = (
    "return_air_c", "discharge_air_c", "set_point_c", "ambient_c", "cargo_c", "coolant_c", "fuel_l", "battery_v",
    "engine_hours_h",
)  # fmt: skip
FLAGS = ("heater_running", "unit_on", "door_open")
NAMES = ("unit_id", "at", "source_id", "content_hash", *FLOATS, *FLAGS)
TYPES = ["int8", "timestamptz", "int8", "int8", *["float8"] * len(FLOATS), *["bool"] * len(FLAGS)]
VALUES = (7.1, 20.0, 7.0, -10.0, 8.0, 78.0, 150.0, 12.7, 1834.2, True, True, False)
COLUMNS = ", ".join(NAMES)
STATE = ", ".join(("unit_id", "at", *FLOATS, *FLAGS))
TABLES = f"""
CREATE TABLE raw_reading (LIKE fleet_reading INCLUDING ALL);
CREATE TABLE raw_state AS SELECT {STATE} FROM fleet_reading LIMIT 0;
ALTER TABLE raw_state ADD PRIMARY KEY (unit_id);
"""
STAGE = "CREATE TEMPORARY TABLE stage (" + ", ".join(f"{n} {t}" for n, t in zip(NAMES, TYPES, strict=True)) + ")"
INSERT = f"INSERT INTO raw_reading ({COLUMNS}) SELECT {COLUMNS} FROM stage ON CONFLICT DO NOTHING"
UPSERT = (
    f"INSERT INTO raw_state ({STATE}) SELECT DISTINCT ON (unit_id) {STATE} FROM stage ORDER BY unit_id, at DESC"
    " ON CONFLICT (unit_id) DO UPDATE SET "
    + ", ".join(f"{name} = excluded.{name}" for name in ("at", *FLOATS, *FLAGS))
    + " WHERE excluded.at > raw_state.at"
)


def main() -> None:
    dsn, *numbers = sys.argv[1:]
    first, last, source, turn, batches, size = map(int, numbers)
    units = range(first, last + 1)
    start = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(days=turn)
    rows = [
        [
            (units[(b * size + i) % len(units)], start + timedelta(seconds=b), source, b * size + i, *VALUES)
            for i in range(size)
        ]
        for b in range(batches)
    ]
    with psycopg.connect(dsn) as connection:
        connection.execute(STAGE)
        connection.commit()
        say("ready")
        sys.stdin.readline()
        begun = time.perf_counter()
        for batch in rows:
            write(connection, batch)
        say(f"{time.perf_counter() - begun:.6f}")


def write(connection: psycopg.Connection, batch: Sequence[tuple[object, ...]]) -> None:
    with connection.transaction(), connection.cursor() as cursor:
        with cursor.copy(f"COPY stage ({COLUMNS}) FROM STDIN (FORMAT BINARY)") as copy:
            copy.set_types(TYPES)
            for row in batch:
                copy.write_row(row)
        cursor.execute(INSERT)
        cursor.execute(UPSERT)
        cursor.execute("TRUNCATE stage")


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
