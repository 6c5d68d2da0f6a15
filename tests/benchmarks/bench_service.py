"""The whole service against its targets, in one run: `uv run python -m tests.benchmarks.bench_service`.

Needs PostgreSQL and Redis; `WARMGATE_DATABASE_URL` (its database's name is not used) and `WARMGATE_BROKER_URL` say
where. Makes and drops a database of its own, starts web, worker, deliver and sweep processes of its own on free ports,
and ends only those. Prints a table of ratios, draws docs/plots and writes docs/performance.md (`--no-page` to not).
`--large` is a run of its own: it only grows, to ten million readings, and keeps what it found for the pages of later
runs.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from datetime import UTC, datetime

from tests.benchmarks.ground import ROOT, Ground, ground

SWEEP_S = 5.0
ROUNDS = 5
NOTICES_UP, NOTICES_DOWN = range(10, 30), range(30, 38)
SIZES = [100_000, 1_000_000]
LARGE = 10_000_000


def out(text: str = "") -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description="Measures the service and writes docs/performance.md.")
    parser.add_argument("--large", action="store_true", help="Only grow, to ten million readings.")
    parser.add_argument("--no-page", action="store_true", help="Only print; leave docs/ as it is.")
    options = parser.parse_args()
    # Settings read the environment when they are loaded, so it is set before anything of the service is imported.
    from tests.benchmarks.ground import free_port

    port, begun, load_before = free_port(), time.monotonic(), os.getloadavg()[0]
    with ground(smtp_port=port) as place:
        os.environ.update(place.environment())
        subprocess.run([sys.executable, "manage.py", "migrate", "--noinput", "--verbosity", "0"], cwd=ROOT, check=True)
        import django

        django.setup()
        if options.large:
            _grow(place)
        else:
            _measure(place, options, port=port, begun=begun, load_before=load_before)


def _grow(place: Ground) -> None:
    from tests.benchmarks.kept_growth import keep, rows_of_growth
    from tests.benchmarks.measure_growth import measure_growth
    from tests.benchmarks.report import machine
    from tests.benchmarks.rows import table_of
    from tests.benchmarks.yard import make_yard

    yard = make_yard()
    place.start_web(WARMGATE_BELL="off")
    points = measure_growth(place, yard, [*SIZES, LARGE])
    out(table_of(rows_of_growth(points)))
    keep(points, machine=machine(place), now=datetime.now(UTC))


def _measure(place: Ground, options: argparse.Namespace, *, port: int, begun: float, load_before: float) -> None:
    from tests.benchmarks.measure_embedded import measure_embedded
    from tests.benchmarks.measure_growth import measure_growth
    from tests.benchmarks.measure_ingest import measure_ingest
    from tests.benchmarks.measure_reads import measure_reads
    from tests.benchmarks.report import Found, draw, rows_of, write_page
    from tests.benchmarks.rows import table_of
    from tests.benchmarks.yard import make_yard

    yard = make_yard()
    out(f"{len(yard.unit_ids)} units are there after {time.monotonic() - begun:.0f} s")
    place.start_web(WARMGATE_BELL="off")
    before = _memory(place)
    reads = measure_reads(place, yard)
    out(f"reads are done after {time.monotonic() - begun:.0f} s")
    rates = measure_ingest(place, yard, rounds=ROUNDS)
    embedded = measure_embedded(rounds=ROUNDS)
    out(f"ingest is done after {time.monotonic() - begun:.0f} s")
    growth = measure_growth(place, yard, SIZES)
    memory = [(name, mb, _memory(place)[name]) for name, mb in before.items()]
    place.stop("web")
    out(f"growth is done after {time.monotonic() - begun:.0f} s")
    up, down, of_workers = _notices(place, yard, port)
    out(f"notices are done after {time.monotonic() - begun:.0f} s\n")
    found = Found(rates, embedded, reads, up, down, SWEEP_S, growth, memory + of_workers)
    rows = rows_of(found)
    out(table_of(rows))
    if not options.no_page:
        draw(found)
        took_s, load = time.monotonic() - begun, (load_before, os.getloadavg()[0])
        write_page(rows, place, load=load, took_s=took_s, now=datetime.now(UTC))


def _memory(place: Ground) -> dict[str, float]:
    return {process.name: process.memory_mb() for process in place.processes}


def _notices(place: Ground, yard: object, port: int) -> tuple[list[float], list[float], list[tuple[str, float, float]]]:
    """Latencies with the broker up and down, and the memory of the workers before and after."""
    from fleet.embedded.receivers import Mailbox
    from tests.benchmarks.ground import HOST, free_port
    from tests.benchmarks.measure_notices import add_route, measure_notices
    from tests.benchmarks.yard import Yard

    assert isinstance(yard, Yard)
    add_route(yard)
    with Mailbox(port=port) as mailbox:
        place.start_web()
        place.start_workers()
        place.start_sweep()
        time.sleep(SWEEP_S)
        before = _memory(place)
        up = measure_notices(place, yard, mailbox, trips=NOTICES_UP)
        memory = [(name, before[name], mb) for name, mb in _memory(place).items() if name != "web"]
        place.stop("web", "worker", "deliver", "sweep")
        place.broker = f"redis://{HOST}:{free_port()}/0"
        place.start_web()
        place.start_sweep()
        time.sleep(2)
        down = measure_notices(place, yard, mailbox, trips=NOTICES_DOWN)
        place.stop("web", "sweep")
    return up, down, memory


if __name__ == "__main__":
    main()
