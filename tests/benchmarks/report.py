"""What a run found, as a table, as plots, and as docs/performance.md."""

from __future__ import annotations

import os
import platform
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import psycopg

from tests.benchmarks import kept_runs
from tests.benchmarks.ground import ROOT, Ground
from tests.benchmarks.kept_growth import FLAT, kept_points, rows_of_growth, section
from tests.benchmarks.measure_embedded import Embedded
from tests.benchmarks.measure_growth import Point
from tests.benchmarks.measure_ingest import Rates
from tests.benchmarks.measure_reads import Reads
from tests.benchmarks.rows import Row, at_least, at_most, table_of

PAGE = ROOT / "docs" / "performance.md"
PLOTS = ROOT / "docs" / "plots"


@dataclass(frozen=True, slots=True)
class Found:
    """Everything one run measured."""

    rates: Rates
    embedded: Embedded
    reads: Reads
    broker_up_s: list[float]
    broker_down_s: list[float]
    sweep_s: float
    growth: list[Point]
    memory_mb: list[tuple[str, float, float]]
    """Process, before and after [MB]."""


def rows_of(found: Found) -> list[Row]:
    rates, reads = found.rates, found.reads
    fresh = reads.fresh_s / (reads.bare_s + reads.assessment_s)
    return [
        Row("ingest over HTTP, 2 web processes, batches of 500", float(np.median(rates.http)), "rows/s"),
        Row("the same, one value of each with its own unit", float(np.median(rates.with_units)), "rows/s"),
        Row("psycopg alone, 2 connections, COPY + upsert", float(np.median(rates.raw)), "rows/s"),
        Row("ModelSerializer(many=True) over HTTP", float(np.median(rates.plain)), "rows/s"),
        at_least("ingest ÷ psycopg alone", rates.over_raw, 0.6),
        Row("ingest with units ÷ psycopg alone", rates.with_units_over_raw, "×"),
        at_least("ingest ÷ ModelSerializer", rates.over_plain, 20),
        Row("embedded: ingest over HTTP into SQLite", float(np.median(found.embedded.http)), "rows/s"),
        Row("embedded ÷ sqlite3 alone, one connection", found.embedded.over_alone, "×"),
        Row("bare authenticated view, median", reads.bare_s * 1e3, "ms"),
        Row("GET readiness, unchanged, median", reads.unchanged_s * 1e3, "ms"),
        at_most("GET readiness unchanged ÷ bare view", reads.unchanged_s / reads.bare_s, 2),
        Row("GET readiness, fresh, median", reads.fresh_s * 1e3, "ms"),
        Row("one assessment in process, median", reads.assessment_s * 1e3, "ms"),
        at_most("GET readiness fresh ÷ (bare view + assessment)", fresh, 1.5),
        Row("GET readiness, 8 clients, p50", reads.busy_p50_s * 1e3, "ms"),
        Row("GET readiness, 8 clients, p99", reads.busy_p99_s * 1e3, "ms"),
        at_most("p99 ÷ p50 at 8 clients", reads.busy_p99_s / reads.busy_p50_s, 4),
        at_most("candidates, 1000 units, winter", reads.mild_s, 0.3, "s"),
        at_most("candidates, 1000 units, severe", reads.severe_s, 0.5, "s"),
        at_most("candidates ÷ 1000 GET readiness", reads.mild_s / reads.of_each_s, 0.1),
        Row("event → mail, broker up, p50", float(np.percentile(found.broker_up_s, 50)), "s"),
        at_most("event → mail, broker up, p95", float(np.percentile(found.broker_up_s, 95)), 1.5, "s"),
        Row("event → mail, broker down, p50", float(np.percentile(found.broker_down_s, 50)), "s"),
        at_most(
            "event → mail, broker down, p95", float(np.percentile(found.broker_down_s, 95)), found.sweep_s + 1, "s"
        ),
        *rows_of_growth(found.growth),
        *(Row(f"memory of {name} ({before:.0f} MB before)", after, "MB") for name, before, after in found.memory_mb),
    ]  # fmt: skip


def processor() -> str:
    cpu = re.search(r"model name\s*: (.+)", Path("/proc/cpuinfo").read_text())
    return cpu.group(1) if cpu else platform.machine()


def machine(ground: Ground) -> str:
    memory = re.search(r"MemTotal:\s+(\d+)", Path("/proc/meminfo").read_text())
    with psycopg.connect(ground.dsn) as connection:
        found = connection.execute("SELECT current_setting('server_version'), current_setting('shared_buffers')")
        version, buffers = found.fetchone() or ("?", "?")
    return (
        f"{os.cpu_count()} cores of {processor()}, "
        f"{int(memory.group(1)) / 2**20 if memory else 0:.0f} GB, Python {platform.python_version()}, "
        f"PostgreSQL {version} with {buffers} of shared buffers, Redis and the load generator on the same machine"
    )


def write_page(rows: Sequence[Row], ground: Ground, *, load: tuple[float, float], took_s: float, now: datetime) -> None:
    missed = [row.name for row in rows if row.meets is False]
    said = "Every target is met." if not missed else "Missed in this run: " + "; ".join(missed) + "."
    run = (
        f"{now.astimezone(UTC):%Y-%m-%d}, {machine(ground)}. Load of the machine before {load[0]:.1f}, after "
        f"{load[1]:.1f}; the run took {took_s:.0f} s."
    )
    kept_runs.keep(rows, processor=processor(), run=run)
    elsewhere = kept_runs.section(rows, processor=processor())
    PAGE.write_text(
        f"{PREFACE}\n## The run\n\n{run}\n\n{table_of(rows)}\n\n{said}\n{PICTURES}{elsewhere}{section()}{READING}"
    )


PREFACE = """# Performance

Written by `uv run python -m tests.benchmarks.bench_service`, which needs PostgreSQL and Redis (`WARMGATE_DATABASE_URL`,
`WARMGATE_BROKER_URL`), makes and drops a database of its own, starts its own processes on free ports, and takes less
than ten minutes. `--large` only grows, to ten million readings, which takes a minute. Every ratio compares two things
measured in turn in the same run on the same machine: ratios are what to compare between machines, rates and
seconds are not. Targets in seconds hold for a machine that answers the bare view in about 1.5 ms; the last run on each
other kind of machine is kept below.
"""
PICTURES = """
![Readings per second](plots/ingest.svg)

![Latency of readiness](plots/readiness.svg)

![From the event to the mail](plots/notices.svg)

![Cost at growing numbers of readings](plots/growth.svg)
"""
READING = """
## How to read it

**Ingest.** Eight senders, each with one connection and 500 units of its own, post batches of one reading per unit, each
newer than the one before: the worst case for a batch of that size, as every row moves a unit's state. Two raw
connections write the same rows of the same 4000 units in the same batches: binary COPY into a temporary table, one
insert into a table like ours (not partitioned), one upsert of the newest values into a table of columns, one commit.
Ours also parses, checks and deduplicates each item, keeps the time and source of each value, moves the unit's version,
locks units and trips, and pulls due times near. Rounds are of 120 000 rows and alternate; tables are analysed before,
and two rounds go by unmeasured, in which each connection's statements are planned. Connections are not spread evenly
over the web processes, so a round ends when all its batches are stored, whoever sent them. Server, database and load
generator share the cores, so the number is what one box does, not what the web processes alone could do. The
serializer's side saves row by row, as it does by itself.

What bounds it is processor time, half of it Python. Measured apart, on the slower machine, two cores had 58 µs for a
row over HTTP, of which the web processes took 27, PostgreSQL 24, the senders 1.5, and 5 nobody; the raw writers had 37
µs for theirs. In process, by one connection, a reading cost 25 µs of Python and 23 of PostgreSQL:

| of Python | µs | of PostgreSQL | µs |
| --- | --: | --- | --: |
| what a request costs by itself, 3 ms by 500 | 6 | move the states: newest groups, versions | 9.5 |
| decode and check the batch, make its table | 2.6 | copy into the partitioned table | 8 |
| which readings may be newest | 0.9 | of that, its index | 4 |
| newest groups, hashes, the stream of rows | 0.7 | lock the live trips | 1.5 |
| the driver, and all that is cold between | 15 | token, begin, commit | 1 |

PostgreSQL does about what it does for the raw writers, who stage what ours does not. So what is missing is Python: the
request (Django's layers, the token, the quota in Redis, eight round trips), and that two processes and the database
push each other's data out of the caches (a part costs more in a request than by itself, again and again). Larger
batches spread what a request costs.

**Embedded.** One process with eight threads, one of which writes at a time; sqlite3 alone has no HTTP, no checks and
one connection.

**Readiness.** "Unchanged" is a stored answer whose versions still hold: one statement. "Fresh" recomputes and stores.
The bare view authenticates with the same token check and renders one key. What a fresh answer costs beside the view
and the assessment is three statements: the trip with its unit, the unit's other trips, and the commit of the answer.
Eight clients keep two processes on shared cores full, so their latency is queueing; web runs as in production, eight
threads a process.

**Candidates.** The whole request: two queries for units and models, all scores and plans in one pass, each check for
all units in turn, and a document of a thousand rows. No two units are alike (K, age, output, fuel, hours run). Winter
and severe differ by 14 K. More than half of it is numpy, in blocks of 64 units and in memory that the allocator keeps;
what remains is a thousand times nineteen checks in Python, and reading a thousand rows. It keeps one core.

**Event to mail.** Contains the second that a burst is given to settle. With the broker down only the sweep works; its
interval is in the target, and what it finds is sent in the same round.

**Memory.** Web grows by what a ranking of a thousand units works in: 30 MB a process for one at a time, 80 MB more
for four at once, which the allocator keeps for the next (repeating the rankings adds nothing).

**Growth.** Readings are filled into the partition that ingest then writes to.
"""


def draw(found: Found) -> None:
    """The four plots. matplotlib is imported here: nothing else needs it."""
    import matplotlib as mpl

    mpl.use("svg")
    mpl.rcParams["svg.hashsalt"] = "warmgate"
    from matplotlib import pyplot as plt

    PLOTS.mkdir(exist_ok=True)

    def save(name: str, title: str, xlabel: str, ylabel: str) -> None:
        plt.title(title)
        plt.xlabel(xlabel)
        plt.ylabel(ylabel)
        plt.tight_layout()
        plt.savefig(PLOTS / f"{name}.svg", metadata={"Date": None})
        plt.close()

    plt.figure(figsize=(6, 3.2))
    for label, values in (
        ("psycopg alone", found.rates.raw),
        ("HTTP", found.rates.http),
        ("serializer", found.rates.plain),
    ):
        plt.plot(range(1, len(values) + 1), values, marker="o", label=label)
    plt.yscale("log")
    plt.xticks(range(1, len(found.rates.raw) + 1))
    plt.legend()
    save("ingest", "Readings per second, round by round", "round", "rows/s")
    plt.figure(figsize=(6, 3.2))
    plt.hist(np.array(found.reads.busy_s) * 1e3, bins=80)
    save("readiness", "GET readiness, 8 clients", "ms", "answers")
    plt.figure(figsize=(6, 3.2))
    for label, values in (("broker up", found.broker_up_s), ("broker down", found.broker_down_s)):
        plt.step(sorted(values), np.arange(1, len(values) + 1) / len(values), where="post", label=label)
    plt.legend()
    save("notices", "From the event to the mail", "s", "share of notices")
    plt.figure(figsize=(6, 3.2))
    for of, points, line in (("", found.growth, "-"), (", a run of its own", kept_points(), "--")):
        if not points:
            continue
        sizes = [point.readings for point in points]
        ingested = [points[0].ingest_rows_s / point.ingest_rows_s for point in points]
        asked = [point.readiness_s / points[0].readiness_s for point in points]
        plt.plot(sizes, ingested, marker="o", color="C0", linestyle=line, label=f"time per ingested row{of}")
        plt.plot(sizes, asked, marker="s", color="C1", linestyle=line, label=f"GET readiness{of}")
    plt.axhline(FLAT, linestyle=":", color="grey")
    plt.xscale("log")
    plt.ylim(0, 1.5)
    plt.legend(loc="lower left")
    save("growth", "Cost against the smallest history", "readings stored", "ratio")
